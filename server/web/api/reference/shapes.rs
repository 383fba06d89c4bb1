//! The shapes of answers by their names. A field that an answer tells and its shape does not is found by the test that
//! sends every example.

pub const SHAPES: &[(&str, &str)] = &[
    (
        "Problem",
        "{type:text title:text status:int code:text detail:text found?:text needed?:text next?:text also?:[text] reasons?:[map] \
         remedy?:map errors?:[{pointer:text detail:text}] limit?:int operation?:text tried?:map}",
    ),
    (
        "OperationOutcome",
        "{resourceType:=OperationOutcome issue:[{severity:text code:text details?:map diagnostics:text}]}",
    ),
    (
        "Entry",
        "{site:id seq:int at:time recorded_at:time actor:text station:text? key:text? kind:text version:int event:map}",
    ),
    ("Left", "{asset:id code:text detail:text ..}"),
    (
        "Accepted",
        "{entry:int at:time event:map made?:text left:[#Left] deviation:[text] also_opened?:[id] short?:[text] doubts?:[map]}",
    ),
    ("Results", "{results:[{status:int ..}]}"),
    (
        "Part",
        "{asset:id mark:text? model:id family:text? serial:text? measured:map? lot:text? owner:=own|loan|trial supplier:text? set:id? \
         line:text? position:int? stage:#Stage standing:=in_service|held|in_repair|missing|retired location:text? turn:int cycles:int \
         uses:int sterile_until:date? packaging:text? cool_at:time? in_load:id? load:id? \
         held:[{hold:id kind:=quality|repair|recall|prion|dedicated reason:text}] due:[{why:text limit:any found:any}] next_step:text?}",
    ),
    (
        "Stage",
        "=soiled|treated|received|cleaned|ultrasonic|dried|disinfected|inspected|packed|ready|issued|in_use",
    ),
    ("Now", "{stage:#Stage standing:text turn:int}"),
    (
        "Set",
        "{set:id name:text count_sheet:id status:#Readiness lines:[{line:text needed:int present:[id] essential:bool pack:text ..}] \
         missing:[text] due:[any] held:[any] ready_at:time?}",
    ),
    ("Readiness", "=out|not_ready|held|in_turn|ready_short|ready"),
    (
        "Machine",
        "{machine:id kind:text condition:{word:text detail:text since:time?} running:id? flag:any programmes:[{programme:#Programme \
         may_run:bool why_not:{code:text found:text next:text}?}] tests_due:[map] last_tests:map last_biological:time? trends:[map]}",
    ),
    (
        "Model",
        "{model:id family:text name:text route:id maker?:text gtin?:text dimensions:map couplings?:[map] limits:map processing:map \
         single_use:bool implant?:bool assembly?:map parts:int doubts:[{pointer:text detail:text}] couples_to:[#Coupled] \
         by_name_only:[#Coupled]}",
    ),
    ("Coupled", "{end:text system:text model:id its_end:text its_system:text}"),
    (
        "Checked",
        "{may_save:bool lines:[{line:int model:id change:text command:map?}] errors:[#TableFault] doubts:[#TableFault]}",
    ),
    ("TableFault", "{line:int column:text? found:text needed:text}"),
    (
        "Load",
        "{load:id machine:id programme:id cycle_no:text? status:=running|judged|released|rejected contents:[id] verdict:#Verdict? \
         evidence:map? indicators:[{indicator:text result:text lot?:text by:text at:time ..}] limits:#Programme started_at:time \
         started_by:text decided_by:text? decided_at:time? dry:bool? dryness_not_stated:bool released_alone:map? released_early:map? immediate_use:map? \
         may_release:bool why_not:[text]}",
    ),
    ("Verdict", "{verdict:=pass|fail reasons:[{code:text found?:num needed?:num unit?:text}] ..}"),
    (
        "Board",
        "{as_of:time entry:int sets:[{set:id name:text count_sheet:id status:#Readiness why:[text] ready_at:time?}] cases:[{case:id \
         start:time status:=ready|in_turn|not_ready sets:[id] why:[text] requests?:[#Request] ..}] reserves:[{count_sheet:id minimum:int ready:int}] \
         not_accounted_for:[map] lines_not_back:[map] late_at_sink:[map] unfollowed:[map]}",
    ),
    (
        "Case",
        "{case:id start:time minutes:int room:text? technique:text? configuration:map? chosen:map? needs:[id] needs_known:bool schedule:map? risk:text emergency:bool \
         promised:[id] patient:bool status:=planned|issued|opened|closed|cancelled cancelled:text? issued:[id] out:[id] opened:[id] \
         used:[id] missing:[id] count:=none|open|closed check:{lines:[map] open:[text] failed:[text] done:bool told:[map]} counts:[map] \
         others:[map] not_back:[{line:text lacks:any outcome:text?}]}",
    ),
    ("SetMove", "{asset:id from:id to:id at:time entry:int by:text forbidden:bool}"),
    ("AtSink", "{asset:id set:id? since:time limit_minutes:int waited_minutes:int late:bool}"),
    ("Unfollowed", "{case:id start:time patient:bool needs:bool}"),
    ("SetUpSheet", "{case:id entry:int cautions:[text] offers:[map] lacking:[any] ..}"),
    ("Fit", "{answer:text sentence:text checks:[map] parts:[map] configuration:map entry:int ..}"),
    (
        "Loan",
        "{loan:id kind:=loan|trial from:text case?:id due_back?:text set?:id pieces?:int instructions?:text condition?:text \
         labelled_decontaminated?:bool risk?:{reason:text person:text} came:{at:time by:text entry:int} \
         parts:[{asset:id again:bool}] leavings?:[map] open:bool due:text? overdue:bool still_here:[id] lacking:[id] \
         retired_here:[id]}",
    ),
    (
        "Stranger",
        "{tag:id kind:=other_site|unmarked|thought_retired looks:text mark?:text owner?:text hold:id same_as?:id \
         received:{at:time by:text entry:int} owners_told?:[map] settled?:[map] open:bool asks:text? now:#Now?}",
    ),
    (
        "IdentityDoubt",
        "{doubt:id how:text groups:[#InDoubt] since:{at:time by:text entry:int} settled?:map open:bool}",
    ),
    ("InDoubt", "[{asset:id turn:int}]"),
    (
        "Stock",
        "{model:id minimum:int? good:int low:bool lots:[{lot:text? expires:text? came:int left:int past:bool}]}",
    ),
    (
        "StockUsed",
        "{model:id lot?:text serial?:text expires?:text quantity:int implant?:bool from_shelf:int at:time by:text entry:int}",
    ),
    ("Due", "{why:text since:time? limit:any found:any asset?:id machine?:id ..}"),
    (
        "Exceptions",
        "{as_of:time month:text months:[{month:text entries:int override:int deviation:int late:int}] \
         reviews:[{role:text signed:{at:time by:text read_to:int entry:int}? since:int}] \
         out_of_the_ordinary:{counts:[map] reasons:[map] entries:[map] cut:bool} dryness_not_stated:#Loads \
                    immediate_use:[{month:text loads:int immediate:int acceptable:int reasons:map}] \
                    released_alone:#Loads released_early:#Loads}",
    ),
    ("Loads", "{months:[{month:text open:int closed:int ..}] open:[map] closed:[map]}"),
    (
        "Wear",
        "{model:id units:int failures:int in_service:int life:#Answer survival:#Answer causes:map lifetimes:[map] \
         life_between_inspections:{clock:text life:#Answer survival:#Answer oldest:num failed_at_once:int watched_for_no_time:int \
         pieces:[map] replace:map? order:map?} costs:map? limit:map? left_out:map? entry:int}",
    ),
    ("Answer", "{refused?:{code:text why:text} ..}"),
    ("ToInspect", "{asset:id model:id age:num within:num chance:num asked:any ..}"),
    ("Money", "{from:time to:time models:map delays:{faults:int missed:int said:text ..} entry:int}"),
    ("RepairsBy", "{model:id? units:{clock:text pieces:[map]}? suppliers:map entry:int}"),
    ("Values", "{asset:id checks:[map]}"),
    ("RepairOrReplace", "{asset:id said:text repairs:int ..}"),
    (
        "Hold",
        "{hold:id kind:=quality|repair|recall|prion|dedicated reason:text placed_at:time placed_by:text lifted_at?:time notice?:map ..}",
    ),
    (
        "HoldNow",
        "{hold:id kind:=quality|repair|recall|prion|dedicated reason:text placed_at:time placed_by:text lifted_at:time? notice:map? places:map \
         not_known:[any] cases:[any] entry:int}",
    ),
    (
        "LookBackAnswer",
        "{origin:map window:{from:time? to:time?}? loads:[{load:id machine:id programme:id cycle_no:text? status:text started_at:time}] \
         assets:[{asset:id model:id turns:[int] now:#Now}] cases:[{case:id start:time patient:bool assets:[#Exposed] stock?:[#StockUsed]}] in_doubt:[{asset:id may_be:id because:id since:time}] entry:int}",
    ),
    ("Exposed", "{asset:id turn:int exposure:=used|opened turns_since?:int}"),
    (
        "Finding",
        "{finding:id asset:id turn:int what:text severity:text at:time by:text open:bool became:map ..}",
    ),
    ("Repair", "{repair:id asset:id reason:text decontaminated:bool sent_at:time ..}"),
    ("Missing", "{asset:id since:time ..}"),
    (
        "LookBack",
        "{look_back:id origin:map reason:text opened_at:time opened_by:text closed_at?:time outcome?:text ..}",
    ),
    (
        "Recall",
        "{recall:id machine:id step:text reason:text opened_at:time opened_by:text since:map? from:time? to:time? hold:id? loads:[id] \
         narrowed:[map] open:bool closed_at:time? closed_by:text? outcome:text? unanswered:{parts:[id] cases:[id]} parts?:[{asset:id \
         model:id turns:[int] fate:text held:bool answered:bool answer:map? location:text? set:id? now:#Now}] cases?:[{case:id \
         start:time patient:bool assets:[#Exposed] answer:map?}] entry?:int}",
    ),
    ("Waiting", "{machine:id file:text bytes:int since:time reason:text}"),
    (
        "Tried",
        "{read:bool by:text? errors:[map] verdict:#Verdict? warnings?:[text] cycle_no?:map? machine?:map? samples?:int span_s?:num? \
         started_at?:time? ended_at?:time? channels?:[text] has_pressure?:bool rows?:[map]}",
    ),
    (
        "BrokenPacks",
        "{from:time to:time broken:int why:map machines:[map] shelves:[map] packagings:[map] packs:[map] entry:int}",
    ),
    ("Published", "{about:text kind:text source:text checked:text programme:#Programme}"),
    ("Label", "{caption:text svg:text lines:[text]}"),
    (
        "ListTried",
        "{kind:text? rows:int may_import:bool new:int changes:int same:int commands:int columns:[map] left_out:[any] questions:[map] \
         problems:[map] doubts:[map] notes:[text] things:[map]}",
    ),
    ("ListRecorded", "{kind:text new:int changes:int same:int entries:int first:int? last:int?}"),
    (
        "PaperSheet",
        "{sheet:id of:=sink|washer|packing|steriliser|theatre|other lines:int status:=out|being_entered|entered|void \
         printed:{at:time by:text entry:int} entered:[{line:int entry:int at:time by:text}] finished?:{at:time by:text entry:int} \
         void?:{at:time by:text entry:int reason:text}}",
    ),
    (
        "WrongThing",
        "{report:id of:int kind:text happened:time named:[{asset:id turn:int}] meant:[{asset:id turn:int}] case:id? load:id? \
         because:text? at:time by:text entry:int counts_both:bool settled?:{confirmed:bool reason:text at:time by:text entry:int \
         stands:[map]}}",
    ),
    (
        "Request",
        "{request:id kind:=take_next|start_now|put_in|borrow case:id set?:id asset?:id step?:text machine?:id count_sheet?:id line?:text \
         sentence:text status:=sent|accepted|done|cannot|lapsed|withdrawn lapsed?:text at:time by:text entry:int \
         answers?:[{answer:=accepted|done|cannot because?:text at:time by:text entry:int}] withdrawn?:{at:time by:text entry:int}}",
    ),
    (
        "ScheduleLine",
        "{line:id trigger:text? control_id:text? schedule:map case:id? why:[text] answered:=AA|AE at:time entry:int settled:map? \
         message:bool}",
    ),
    (
        "Procedure",
        "{code:text name:text? needs:[id] technique:text? minutes:int? at:time by:text entry:int offered:[id]}",
    ),
    (
        "Forecast",
        "{as_of:time entry:int replications:int sets:[{set:id ..}] cases:[{case:id \
         saves?:[{act:text chance:num sentence:text loses?:[any] request?:map ..}] ..}] not_known:[text]}",
    ),
    (
        "Week",
        "{as_of:time entry:int replications:int asks:map days:[#DayAhead] changed:[#DayAhead] difference:[num]? \
         helps:[{asks:map sentence:text cases:num low:num high:num}] not_known:[text]}",
    ),
    (
        "DayAhead",
        "{day:date cases:[{case:id start:time needs:[id] out:bool chance:#Share? lacks:id? held_up_by:text? not_known:text?}] all:#Share? \
         sheets:[{count_sheet:id cases:int at_once:int sets:int all:#Share}]}",
    ),
    ("Share", "{chance:num low:num high:num}"),
    (
        "AlertTold",
        "{alert:text rule:id about:text? tells:[text] subject:text sentence:text raised_at:time ended_at:time? seen:[{by:text at:time}]}",
    ),
    (
        "AlertRule",
        "{rule:id about:=case|reserve|load|missing|hold tells:[text] before:text? below:int? count_sheet:id? minutes:int? \
         webhook:text? since:time at:time by:text entry:int dropped:time? secret:{made_at:time by:text}? gone:bool}",
    ),
    (
        "AlertDelivery",
        "{delivery:text alert:text rule:id kind:=raised|ended status:=waits|done|given_up|gone|dropped from:time due_at:time? \
         tries:int attempts:[{number:int at:time told:text}]}",
    ),
    ("Kept", "{sha256:text bytes:int type:text}"),
    ("Resource", "{resourceType:text ..}"),
];
