//! What stands about each route of the API, one line each: what it is for, its parameters, what it answers, and an example
//! that works in the demo once the examples of commands were given there.

/// What a request carries in its body.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Body {
    Nothing,
    /// A command, or a list of them.
    Commands,
    /// JSON of this shape.
    Json(&'static str),
    /// A form of this shape.
    Form(&'static str),
    /// Text of this kind.
    Bytes(&'static str),
    /// Bytes of this kind, whose example stands in base64.
    Picture(&'static str),
}

#[derive(Clone, Copy, Debug)]
pub struct Operation {
    pub method: &'static str,
    /// Below `/api/v1/{site}`.
    pub path: &'static str,
    pub says: &'static str,
    /// Names of parameters behind the question mark; all may be left out, but for those with an exclamation mark.
    pub query: &'static str,
    pub body: Body,
    /// The statuses of success with their shapes, and `bytes` where the answer is no JSON.
    pub answers: &'static [(u16, &'static str)],
    /// Other statuses than those that every route has.
    pub refuses: &'static [u16],
    /// Values of the parameters, those of the path and those behind the question mark.
    pub example: &'static str,
    /// The example's body.
    pub sends: &'static str,
}

const fn get(
    path: &'static str,
    says: &'static str,
    query: &'static str,
    answers: &'static [(u16, &'static str)],
    example: &'static str,
) -> Operation {
    Operation {
        method: "get",
        path,
        says,
        query,
        body: Body::Nothing,
        answers,
        refuses: &[],
        example,
        sends: "",
    }
}

const fn post(
    path: &'static str,
    says: &'static str,
    body: Body,
    answers: &'static [(u16, &'static str)],
    refuses: &'static [u16],
    sends: &'static str,
) -> Operation {
    Operation { method: "post", path, says, query: "", body, answers, refuses, example: "", sends }
}

impl Operation {
    const fn with(self, query: &'static str, example: &'static str) -> Operation {
        Operation { query, example, ..self }
    }

    const fn also(self, refuses: &'static [u16]) -> Operation {
        Operation { refuses, ..self }
    }
}

macro_rules! ok {
    ($shape:literal) => {
        &[(200, $shape)]
    };
}
macro_rules! list {
    ($shape:literal) => {
        &[(200, concat!("{items:[", $shape, "] next:text?}"))]
    };
}

const FHIR: &[u16] = &[400, 406];
const FHIR_READ: &[u16] = &[304, 400, 406];
const FHIR_POST: &[u16] = &[400, 406, 413, 415];

/// The table. A route without a line here, or a line without its route, fails a test, which names it.
#[rustfmt::skip]
pub const OPERATIONS: &[Operation] = &[
    get("/api/v1/openapi.json", "This document.", "", ok!("map"), ""),
    post("/commands", "Gives a command, or up to 500 of them in a list, each judged by itself and in order.", Body::Commands,
        &[(200, "#Accepted|#Results"), (201, "#Accepted")], &[409, 413, 429], ""),
    get("/assets", "Every part, by its id.", "after limit", list!("#Part"), "limit=2"),
    get("/assets/{scan}", "One part, by its id or mark.", "", ok!("#Part"), "scan=EX-B1"),
    get("/assets/{scan}/history", "The entries that name a part, newest first.", "after limit", list!("#Entry"), "scan=EX-B1&limit=5"),
    get("/sets", "Every set, by its name, with what it lacks.", "after limit", list!("#Set"), "limit=2"),
    get("/sets/{set}", "One set, line by line.", "", ok!("#Set"), "set=EX-SET"),
    get("/set-moves", "The parts that moved from one set to another; `forbidden` where a set keeps its parts.", "from to after limit", list!("#SetMove"), "from=2026-01-01T00:00:00Z"),
    get("/sink", "What waits for its cleaning against a limit, the nearest to it first.", "after limit", list!("#AtSink"), ""),
    get("/unfollowed", "Emergencies of which the patient's reference (`patient`) or the needs are to follow.", "after limit", list!("#Unfollowed"), ""),
    get("/machines", "Every machine, how it stands and which tests are due.", "after limit", list!("#Machine"), "limit=1"),
    get("/machines/{machine}", "One machine, with the trends of its last loads.", "", ok!("#Machine"), "machine=example-steriliser"),
    get("/models", "Every model of the catalogue.", "after limit", list!("#Model"), "limit=2"),
    post("/models/check", "Checks a table of models as it would be pasted. Nothing is recorded.", Body::Json("{table:text route?:id}"), ok!("#Checked"), &[413, 429],
        r#"{"table": "model\tfamily\tname\nexample-cap-2\tcap\tExample cap 2", "route": "example-metal"}"#),
    get("/models/{model}", "One model, with what is doubtful in it and what it couples to.", "", ok!("#Model"), "model=example-barrel"),
    get("/loads", "Every load, with its verdict.", "after limit", list!("#Load"), "limit=2"),
    get("/loads/{load}", "One load: may it be released, and why not?", "", ok!("#Load"), "load=EX-STEAM-3"),
    get("/board", "What is ready, what is missing, and when. With an entity tag.", "", ok!("#Board"), "").also(&[304]),
    get("/board/live", "The board as server-sent events: `board` whenever it changes, its id the place in the ledger; `current`, `gone` or `ended` between. It goes on until as many were sent as are wanted.", "limit", ok!("bytes"), "limit=1"),
    get("/cases", "Every case. Who the patient is stands nowhere in it.", "after limit", list!("#Case"), "limit=2"),
    get("/cases/{case}", "One case: what was issued, opened, used and counted.", "", ok!("#Case"), "case=EX-CASE-1"),
    get("/cases/{case}/patient", "The patient's reference. Each reading is logged.", "", ok!("{patient:text?}"), "case=EX-CASE-1"),
    get("/cases/{case}/sheet", "The set-up sheet: what was chosen, and what fits. Geometry only: makers' instructions and the clinician decide.",
        "", ok!("#SetUpSheet"), "case=EX-CASE-2"),
    post("/fit", "Judges whether parts fit together. Nothing is recorded. Geometry only: makers' instructions and the clinician decide.",
        Body::Json("{configuration:#Configuration case?:id technique?:text}"), ok!("#Fit"), &[413], r#"{"configuration": {"barrel": "EX-B1"}}"#),
    get("/forecast", "Whether the cases of today and tomorrow will be equipped, when each set should be ready, and what holds it up.", "",
        ok!("#Forecast"), ""),
    get("/week", "The days to come against what there is: as planned, and with one more set, one away, a machine out of service or back, or a case more.",
        "days more sets without down back add start minutes", ok!("#Week"), "days=3&more=example-adult"),
    get("/paper-sheets", "Numbered sheets for days on paper: who numbered them, which lines are entered, what became of them.", "after limit open", list!("#PaperSheet"), "limit=2"),
    get("/wrong-things", "Entries of which somebody said that the wrong thing was scanned, and what the lead said to it.", "after limit open", list!("#WrongThing"), "limit=2"),
    get("/requests", "What the board asked of the desk, how each request stands, and what the desk said.", "after limit open", list!("#Request"), "limit=2"),
    get("/requests/{request}", "One of these requests.", "", ok!("#Request"), "request=request-00001"),
    get("/loans", "Loans and trials: what came, from whom, until when, and what left.", "after limit open", list!("#Loan"), "limit=2"),
    get("/loans/{loan}", "One loan, with what is still here of it.", "", ok!("#Loan"), "loan=EX-LOAN"),
    get("/strangers", "Strangers: what nobody here knew, and what became of it.", "after limit open", list!("#Stranger"), "limit=2"),
    get("/strangers/{stranger}", "One stranger, by its tag.", "", ok!("#Stranger"), "stranger=EX-TAG"),
    get("/identity-doubts", "Parts that were mixed and may be each other.", "after limit open", list!("#IdentityDoubt"), "limit=2"),
    get("/stock", "What is kept without parts of its own, by model and lot.", "after limit", list!("#Stock"), "limit=2"),
    get("/stock/{model}", "What is kept of one model.", "", ok!("#Stock"), "model=example-catheter"),
    get("/cases/{case}/stock", "What a case used of the shelf.", "", ok!("{case:id items:[#StockUsed]}"), "case=EX-CASE-1"),
    get("/schedule-lines", "Messages of the schedule that a person has to look at, or has looked at.", "after limit open", list!("#ScheduleLine"), "limit=2"),
    get("/schedule-lines/{line}", "One of these messages: why it waits, and what became of it.", "", ok!("#ScheduleLine"), "line=line-00001"),
    get("/schedule-lines/{line}/message", "The message itself, less what names people but by their numbers. Each reading is logged.", "",
        ok!("{line:id message:text}"), "line=line-00001"),
    get("/procedures", "What procedures of the schedule need, with the cases that would get something else by it now.", "after limit",
        list!("#Procedure"), "limit=2"),
    get("/alerts", "What the rules of alerts told: what is so still, and what ended, for 90 days.", "after limit open", list!("#AlertTold"), "open=true&limit=2"),
    get("/alert-rules", "The rules of alerts, those that were dropped among them. Secrets are shown nowhere.", "after limit", list!("#AlertRule"), "limit=2"),
    post("/alert-rules/{rule}/secret", "Makes the secret anew with which a rule's messages are signed, and tells it this once.", Body::Nothing, ok!("{rule:id secret:text}"), &[], "").with("", "rule=EX-ALERT"),
    get("/alert-deliveries", "What other programs were told of alerts, and each try.", "after limit", list!("#AlertDelivery"), "limit=2"),
    get("/due", "What is due, in order of need.", "after limit", list!("#Due"), "limit=2"),
    get("/exceptions", "What was released alone or early, and what was out of the ordinary in a month.", "month", ok!("#Exceptions"), "month=2026-11"),
    get("/wear", "How long the parts of a model last.", "model!", ok!("#Wear"), "model=example-barrel"),
    get("/wear/inspect-next", "The parts to look at before others.", "after limit", list!("#ToInspect"), "limit=2"),
    get("/wear/money", "What things cost over a time, by model.", "from to", ok!("#Money"), "from=2026-01-01T00:00:00Z&to=2026-11-01T00:00:00Z"),
    get("/wear/repairs", "Repairs by piece and by who did them.", "model", ok!("#RepairsBy"), "model=example-cap"),
    get("/assets/{scan}/values", "What was measured of a part, check by check.", "", ok!("#Values"), "scan=EX-B1"),
    get("/assets/{scan}/repair-or-replace", "Whether one more repair of a part is worth its money.", "", ok!("#RepairOrReplace"), "scan=EX-C3"),
    get("/holds", "Holds that are not lifted.", "after limit", list!("#Hold"), "limit=2"),
    get("/holds/{hold}", "One hold, with every piece by its place and the cases that it touches.", "", ok!("#HoldNow"), "hold=hold-0001"),
    get("/look-back", "Who and what is affected, from a load, a part, a case or a machine in a window. Exposed means possible contact, not infection.",
        "load asset case machine model lot serial from to", ok!("#LookBackAnswer"), "load=EX-STEAM-3"),
    post("/look-back", "The same for all cases of a patient; the reading is logged.", Body::Json("{patient:text}"), ok!("#LookBackAnswer"), &[413],
        r#"{"patient": "EX-PATIENT-1"}"#),
    get("/findings", "Defect reports, with what became of each.", "after limit", list!("#Finding"), "limit=2"),
    get("/repairs", "Repairs, under way and done.", "after limit", list!("#Repair"), "limit=2"),
    get("/missing", "Parts that are not accounted for.", "after limit", list!("#Missing"), "limit=2"),
    get("/look-backs", "Look-backs that were opened.", "after limit", list!("#LookBack"), "limit=2"),
    get("/recalls", "Recalls, with what is not answered for.", "after limit", list!("#Recall"), "limit=2"),
    get("/recalls/{recall}", "One recall: every part, every case, and the answers.", "", ok!("#Recall"), "recall=EX-RECALL"),
    get("/records", "What waits in the folder of records, and why.", "after limit", list!("#Waiting"), "limit=2"),
    post("/machines/{machine}/record-form/try", "Reads a sample file with a record form. Nothing is recorded.",
        Body::Json("{record:text form?:#Form? programme?:id}"), ok!("#Tried"), &[413, 429],
        r#"{"form": null, "record": "time_s,temp_c\n0,20\n10,90\n80,90\n", "programme": "wash"}"#).with("", "machine=example-washer"),
    get("/broken-packs", "Broken packs, counted by reason, machine, shelf and packaging.", "from to", ok!("#BrokenPacks"), "from=2026-01-01T00:00:00Z"),
    get("/published-programmes", "Programmes to start from, with their sources. The maker's instructions decide.", "",
        ok!("{items:[#Published] next:text? caution:text}"), ""),
    post("/attachments", "Keeps a picture or a scan, as it is.", Body::Picture("image/png"), &[(200, "#Kept"), (201, "#Kept")], &[413, 429],
        "iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAAAAAA6fptVAAAACklEQVR4nGNgAAAAAgABSAKkkQAAAABJRU5ErkJggg=="),
    get("/attachments/{sha256}", "A picture or a scan, as it came.", "", ok!("bytes"),
        "sha256=7f7f0b4bb05443d19142821d50fb1244341c41dadd9605007a1bbffbf17cfb5f"),
    get("/labels", "Labels: drawn, as a sheet to print, or for a label printer.", "kind scan size symbol paper skip dpi as", list!("#Label"), "kind=part&scan=EX-B1").also(&[409]),
    post("/import", "Tries a list of models, parts, count sheets, sets or cases, or records all of it.", Body::Bytes("text/csv"),
        &[(200, "#ListTried|#ListRecorded"), (201, "#ListRecorded")], &[413, 429], "model,asset,mark\nexample-cap,EX-C9,EX-MARK-C9\n").with("kind! dry_run chosen charset", "kind=assets&dry_run=true"),
    get("/ledger", "The ledger as it is, an entry with its leaf on each line.", "after limit", ok!("bytes"), "limit=3"),
    get("/fhir/metadata", "What can be read as HL7 FHIR R4, and by which parameters.", "_format", ok!("#Resource"), "").also(FHIR),
    get("/fhir/Device", "Parts as FHIR devices.",
        "_id _lastUpdated identifier status model device-name udi-di location _count _sort _summary _total _after _format",
        ok!("#Resource"), "status=active&_count=2").also(FHIR),
    post("/fhir/Device/_search", "The same, the parameters in the body.", Body::Form("{_id?:text _lastUpdated?:text identifier?:text status?:text \
        model?:text device-name?:text udi-di?:text location?:text _count?:int _sort?:text _summary?:text _total?:text _after?:text _format?:text}"),
        ok!("#Resource"), FHIR_POST, "status=active&_count=2&_sort=-_lastUpdated"),
    get("/fhir/Device/{id}", "One part as a FHIR device.", "_format", ok!("#Resource"), "id=EX-B1").also(FHIR_READ),
    get("/fhir/Location", "Places where parts lie as FHIR locations.", "_id identifier name _count _sort _summary _total _after _format",
        ok!("#Resource"), "_count=2").also(FHIR),
    post("/fhir/Location/_search", "The same, the parameters in the body.", Body::Form("{_id?:text identifier?:text name?:text _count?:int \
        _sort?:text _summary?:text _total?:text _after?:text _format?:text}"), ok!("#Resource"), FHIR_POST, "_count=2"),
    get("/fhir/Location/{id}", "One place as a FHIR location.", "_format", ok!("#Resource"), "id=shelf.23").also(FHIR),
    get("/fhir/DeviceUseStatement", "Uses of parts at cases. The patient is a pseudonym, another for each case.",
        "_id _lastUpdated identifier device _count _sort _summary _total _after _format", ok!("#Resource"), "device=EX-B1").also(FHIR),
    post("/fhir/DeviceUseStatement/_search", "The same, the parameters in the body.", Body::Form("{_id?:text _lastUpdated?:text identifier?:text \
        device?:text _count?:int _sort?:text _summary?:text _total?:text _after?:text _format?:text}"), ok!("#Resource"), FHIR_POST,
        "device=Device/EX-B1"),
    get("/fhir/DeviceUseStatement/{id}", "One use of a part at a case.", "_format", ok!("#Resource"), "id=EX-CASE-1..EX-B1..1").also(FHIR_READ),
];

/// What the parameters mean, wherever they stand.
pub const PARAMETERS: &[(&str, &str, &str)] = &[
    ("site", "id", "The site's code"),
    ("after", "text", "The cursor that the page before ended with"),
    ("limit", "int", "How many at most, up to 1,000"),
    ("from", "time", "From this moment on"),
    ("to", "time", "Up to this moment"),
    ("month", "text", "A month of the site's calendar, as 2026-03"),
    ("model", "text", "The name of a model"),
    ("load", "id", "The name of a load"),
    ("asset", "text", "The id or mark of a part"),
    ("scan", "text", "The id or mark of a part, as it was scanned"),
    ("case", "id", "The name of a case"),
    ("machine", "id", "The name of a machine"),
    ("lot", "text", "A lot of what is kept on the shelf"),
    ("serial", "text", "The number of one piece, as of an implant"),
    ("loan", "id", "The name of a loan"),
    ("stranger", "id", "The tag of a stranger"),
    ("days", "int", "So many days, today among them: 1 to 14"),
    ("more", "id", "A count sheet of which there were more sets"),
    ("sets", "int", "How many more: 1 to 10"),
    ("without", "id", "A set that is not to be had"),
    ("down", "id", "A machine that is out of service"),
    ("back", "id", "A machine that is in service again"),
    ("add", "id", "The count sheet of a case that is added"),
    ("start", "text", "When the case that is added starts: with a zone, or of the site's"),
    ("minutes", "int", "How long it takes"),
    ("set", "id", "The code of a set"),
    ("hold", "id", "The name of a hold"),
    ("recall", "id", "The name of a recall"),
    ("sha256", "text", "The SHA-256 of the bytes, as hexadecimal"),
    ("kind", "text", "What kind of list, or of label"),
    ("open", "bool", "Those alone that wait"),
    ("line", "id", "The name of a line of the schedule"),
    ("request", "id", "The name of a request to the desk"),
    ("rule", "id", "The name of a rule of alerts"),
    ("dry_run", "bool", "Whether it is only tried"),
    ("chosen", "text", "How the columns are read, as JSON"),
    ("charset", "text", "The character set of the file"),
    ("size", "text", "The size of the labels"),
    ("symbol", "text", "The symbol of the labels"),
    ("paper", "text", "a4 or letter"),
    ("skip", "text", "How many labels of the sheet are used up"),
    ("dpi", "text", "The printer's dots an inch: 203, 300 or 600"),
    ("as", "text", "svg, pdf or zpl"),
    ("id", "text", "The logical id"),
    ("_id", "text", "Logical ids, with commas between them"),
    ("_lastUpdated", "text", "A prefix and a date, as ge2026-03-02"),
    ("_count", "int", "How many at most on a page"),
    ("_sort", "text", "_id or _lastUpdated, with a hyphen before it for backwards"),
    ("_summary", "text", "count for the number alone, or false"),
    ("_total", "text", "none, estimate or accurate: the number is always told, and exact"),
    ("_after", "text", "Where the page begins; the links of a page have it"),
    ("_format", "text", "json, or application/fhir+json"),
    ("identifier", "text", "A value, or a system, a stroke and a value"),
    ("status", "text", "active, inactive, entered-in-error or unknown"),
    ("device", "text", "The device that was used"),
    ("location", "text", "The place where it lies, as Location/X"),
    ("name", "text", "How the name begins"),
    ("device-name", "text", "How the device's name begins"),
    ("udi-di", "text", "How the device identifier begins"),
];
