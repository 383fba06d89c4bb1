"""Judges an OpenAPI document by openapi-spec-validator of PyPI, which holds it against the schema of its version.

    openapi.py DOCUMENT

The answer is a JSON object: the version it was judged by, and what is wrong.
"""

import json
import sys

from openapi_spec_validator import OpenAPIV31SpecValidator

if __name__ == "__main__":
    with open(sys.argv[1], encoding="utf-8") as file:
        document = json.load(file)
    wrong = [f"{'/'.join(map(str, error.path))}: {error.message}"[:500] for error in OpenAPIV31SpecValidator(document).iter_errors()]
    print(json.dumps({"version": document.get("openapi"), "wrong": wrong}))
