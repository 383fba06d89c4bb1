"""Judges FHIR resources: their structure by fhir.resources of PyPI, their codes by the value sets of the standard.

    resources.py RESOURCES

RESOURCES is a JSON list of [release, resource], the release "R4" or "R5". fhir.resources has no R4 but R4B, which is the same for the
types that stand here; it looks at names, types, formats and what has to be there, and not at codes. The codes below are those of the
value sets with a required binding, and of code systems wherever one is named, as HL7 publishes them (hl7.org/fhir/R4, R5). The answer is
a JSON list of lists of what is wrong, empty where nothing is.
"""

import importlib
import json
import re
import sys

REQUIRED = {
    "Device.status": "active inactive entered-in-error unknown",
    "Device.deviceName.type": "udi-label-name user-friendly-name patient-reported-name manufacturer-name model-name other",
    "Device.udiCarrier.entryType": "barcode rfid manual card self-reported unknown",
    "DeviceUseStatement.status": "active completed entered-in-error intended stopped on-hold",
    "DeviceUsage.status": "active completed not-done entered-in-error intended stopped on-hold",
    "Location.status": "active suspended inactive",
    "Location.mode": "instance kind",
    "Appointment.status": "proposed pending booked arrived fulfilled cancelled noshow entered-in-error checked-in waitlist",
    "Appointment.participant.status": "accepted declined tentative needs-action",
    "Procedure.status": "preparation in-progress not-done on-hold stopped completed entered-in-error unknown",
    "ServiceRequest.status": "draft active on-hold revoked completed entered-in-error unknown",
    "ServiceRequest.intent": "proposal plan directive order original-order reflex-order filler-order instance-order option",
    "SupplyDelivery.status": "in-progress completed abandoned entered-in-error",
    "OperationOutcome.issue.severity": "fatal error warning information",
    "OperationOutcome.issue.code": "invalid structure required value invariant security login unknown expired forbidden suppressed "
    "processing not-supported duplicate multiple-matches not-found deleted too-long code-invalid extension too-costly business-rule "
    "conflict transient lock-error no-store exception timeout incomplete throttled informational",
    "Bundle.type": "document message transaction transaction-response batch batch-response history searchset collection",
    "Bundle.entry.search.mode": "match include outcome",
    "CapabilityStatement.status": "draft active retired unknown",
    "CapabilityStatement.kind": "instance capability requirements",
    "CapabilityStatement.fhirVersion": "0.01 0.05 0.06 0.11 0.0.80 0.0.81 0.0.82 0.4.0 0.5.0 1.0.0 1.0.1 1.0.2 1.1.0 1.4.0 1.6.0 1.8.0 "
    "3.0.0 3.0.1 3.3.0 3.5.0 4.0.0 4.0.1",
    "CapabilityStatement.rest.mode": "client server",
    "CapabilityStatement.rest.resource.interaction.code": "read vread update patch delete history-instance history-type create search-type",
    "CapabilityStatement.rest.resource.versioning": "no-version versioned versioned-update",
    "CapabilityStatement.rest.resource.conditionalRead": "not-supported modified-since not-match full-support",
    "CapabilityStatement.rest.resource.searchParam.type": "number date string token reference composite quantity uri special",
}
IN_R5 = {"Device.status": "active inactive entered-in-error"}
# Of every identifier, wherever it stands.
IDENTIFIER_USES = "usual official temp secondary old".split()
SYSTEMS = {
    "http://terminology.hl7.org/CodeSystem/device-status-reason": "online paused standby offline not-ready transduc-discon hw-discon off",
    # The identifier types of FHIR R4 from HL7 table 0203, with that of a resource.
    "http://terminology.hl7.org/CodeSystem/v2-0203": "DL PPN BRN MR MCN EN TAX NIIP PRN MD DR ACSN UDI SNO SB PLAC FILL JHN RI",
    "http://terminology.hl7.org/CodeSystem/location-physical-type": "si bu wi wa lvl co ro bd ve ho ca rd area jdn vi",
    "http://hl7.org/fhir/device-availability-status": "lost damaged destroyed available",
}
ISSUERS = ["gs1-di", "hibcc-dI", "iccbba-blood-di", "iccbba-other-di"]
ABSENT = "http://hl7.org/fhir/StructureDefinition/data-absent-reason"
ABSENCES = (
    "unknown asked-unknown temp-unknown not-asked asked-declined masked not-applicable unsupported as-text error not-a-number "
    "negative-infinity positive-infinity not-performed not-permitted"
).split()


def structure(release, resource):
    kind = resource["resourceType"]
    module = "fhir.resources." + ("R4B." if release == "R4" else "") + kind.lower()
    model = getattr(importlib.import_module(module), kind)
    try:
        model.model_validate_json(json.dumps(resource))
    except ValueError as wrong:
        return [str(wrong).replace("\n", " ")]
    return []


def walk(path, value):
    """Every element with its path, lists passed over; a resource within another begins a path of its own."""
    if isinstance(value, list):
        for one in value:
            yield from walk(path, one)
        return
    yield path, value
    if isinstance(value, dict):
        inner = value.get("resourceType")
        for name, below in value.items():
            yield from walk(f"{inner or path}.{name}", below)


def element(release, path, value):
    allowed = (IN_R5.get(path) if release == "R5" else None) or REQUIRED.get(path)
    if allowed and value not in allowed.split():
        yield f"{path}: {value!r} is not in the value set"
    if path.endswith("dentifier.use") and value not in IDENTIFIER_USES:
        yield f"{path}: {value!r} is no use of an identifier"
    if value is None or value == "" or value == {} or value == []:
        yield f"{path}: empty"
    if not isinstance(value, dict):
        return
    system, code = value.get("system"), value.get("code")
    if system in SYSTEMS and code not in SYSTEMS[system].split():
        yield f"{path}: {code!r} is not in {system}"
    if system is not None and not re.match(r"[a-z][a-z0-9+.-]*:\S+$", system):
        yield f"{path}: {system!r} is no absolute address"
    if value.get("url") == ABSENT and value.get("valueCode") not in ABSENCES:
        yield f"{path}: {value.get('valueCode')!r} is no reason for an absence"
    if path.endswith(".udiCarrier") and "issuer" in value:
        if value["issuer"] not in [f"http://hl7.org/fhir/NamingSystem/{name}" for name in ISSUERS]:
            yield f"{path}: {value['issuer']!r} issues no device identifiers"
    if "resourceType" in value and "id" in value and not re.fullmatch(r"[A-Za-z0-9.-]{1,64}", value["id"]):
        yield f"{path}: {value['id']!r} is no logical id"


def invariants(resource):
    """Of the invariants that the standard writes as FHIRPath, those of what is told here."""
    kind = resource["resourceType"]
    if kind == "Bundle":
        urls = [entry.get("fullUrl") for entry in resource.get("entry", [])]
        if len(set(urls)) != len(urls):
            yield "bdl-7: a fullUrl stands twice"
        if any("/_history/" in url for url in urls if url):
            yield "bdl-8: a fullUrl names a version"
        for url in urls:
            if url and not re.match(r"(https?://|urn:)", url):
                yield f"fullUrl {url!r} is not absolute"
        if "total" in resource and resource["type"] not in ("searchset", "history"):
            yield "bdl-1: a total without a search"
        matches = [entry for entry in resource.get("entry", []) if entry.get("search", {}).get("mode") == "match"]
        if resource["type"] == "searchset" and len(matches) > resource.get("total", len(matches)):
            yield "more is found than there is"
    if kind == "CapabilityStatement":
        if not resource.get("rest"):
            yield "cpb-1: nothing is offered"
        if resource.get("kind") == "instance" and "implementation" not in resource:
            yield "cpb-15: an instance without its implementation"
        types = [offered["type"] for rest in resource.get("rest", []) for offered in rest.get("resource", [])]
        if len(set(types)) != len(types):
            yield "cpb-9: a resource stands twice"
        for rest in resource.get("rest", []):
            for offered in rest.get("resource", []):
                names = [param["name"] for param in offered.get("searchParam", [])]
                if len(set(names)) != len(names):
                    yield "cpb-12: a parameter stands twice"


def judge(release, resource):
    wrong = structure(release, resource)
    for path, value in walk(resource["resourceType"], resource):
        wrong.extend(element(release, path, value))
    wrong.extend(invariants(resource))
    return wrong


if __name__ == "__main__":
    with open(sys.argv[1], encoding="utf-8") as file:
        print(json.dumps([judge(release, resource) for release, resource in json.load(file)]))
