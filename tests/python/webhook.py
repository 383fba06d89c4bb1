"""Signs a message as its receiver would, with the standard library alone.

    webhook.py MESSAGE

MESSAGE is a JSON object: the secret as it was shown, and the id, the timestamp and the body as they came. The signature is
written to standard output.
"""

import base64
import hashlib
import hmac
import json
import sys

with open(sys.argv[1], encoding="utf-8") as file:
    told = json.load(file)
key = base64.b64decode(told["secret"].removeprefix("whsec_"), validate=True)
signed = ".".join([told["id"], told["timestamp"], told["body"]]).encode()
print("v1," + base64.b64encode(hmac.new(key, signed, hashlib.sha256).digest()).decode())
