// Code generated from the API's description by go test ./daemon/web -update. DO NOT EDIT.

declare namespace API {
  interface AbandonMix {
  }

  interface AcceptCorrection {
  }

  interface AcknowledgeAlarm {
  }

  interface Addition {
    hardener_g?: number;
    ink_g?: number;
    thinner_g?: number;
  }

  interface AirList {
    air: Array<AirView> | null;
    seq: number;
  }

  interface AirPoint {
    dew_point_c?: number;
    humidity_high_pct?: number;
    humidity_low_pct?: number;
    humidity_pct: number;
    known_s?: number;
    local: string;
    quality: string;
    source?: "bench" | "paper";
    temperature_c: number;
    temperature_high_c?: number;
    temperature_low_c?: number;
    time: string;
    to?: string;
    vapour_density_g_m3: number;
  }

  interface AirView {
    dew_point_c?: number;
    humidity_pct?: number;
    left_out?: Array<LeftOut> | null;
    quality: string;
    sensor?: string;
    sensors?: Array<string> | null;
    temperature_c?: number;
    time?: string;
    vapour_density_g_m3?: number;
    why?: string;
    zone: string;
  }

  interface AlarmList {
    alarms: Array<AlarmView> | null;
    seq: number;
  }

  interface AlarmView {
    about?: "batch" | "press" | "zone" | "sensor" | "scale" | "light" | "bench";
    by?: string;
    detail?: string;
    help: string;
    name: string;
    priority: "high" | "medium" | "low";
    response?: string;
    seq: number;
    since: string;
    state: "normal" | "unacknowledged" | "acknowledged" | "returned" | "shelved" | "suppressed" | "out-of-service";
    subject: string;
    text: string;
    time: string;
    title: string;
    until?: string;
  }

  interface Amounts {
    hardener_g: number;
    ink_g: number;
    thinner_g: number;
  }

  interface Answer {
    assumed: Array<string> | null;
    faster: Array<Other> | null;
    finish_at?: string;
    finish_h: number;
    grams_per_print: number;
    left_because: string;
    left_for_life_g: number;
    left_g: number;
    mixed_g: number;
    mixes: Array<Mix> | null;
    printed_g: number;
    prints: number;
    spare_h: number;
    waits_h: number;
  }

  interface Band {
    advice: string;
    ends_at: SpanTime;
    flow_times: Array<HeardSample> | null;
    id: string;
    ln_spread: number;
    names: Array<string> | null;
    narrowings: Array<Narrowing> | null;
    parts: Array<Part> | null;
    trend?: HeardTrend;
  }

  interface Batch {
    as_of?: string;
    ends_at?: SpanTime;
    id: string;
    ink: string;
    press?: string;
    quality: string;
    state: string;
    why?: string;
    zone: string;
  }

  interface BatchHistory {
    batches: Array<HistoryBatch> | null;
    seq: number;
  }

  interface BatchList {
    batches: Array<BatchView> | null;
    seq: number;
  }

  interface BatchView {
    age_s: number | null;
    artwork?: string;
    aside?: boolean;
    closed_at?: string;
    colour_class?: string;
    components: Array<Component> | null;
    confirmed_by_bench?: ByBench;
    corrections: Array<Correction> | null;
    cup: string;
    cup_empty_g?: number;
    cup_weighs_g?: number;
    defects?: Record<string, number>;
    ends_at: SpanTime | null;
    first_end?: "visible" | "adhesion";
    for_press?: string;
    good_at: string | null;
    id: string;
    ink: string;
    left_g?: number;
    look_first?: boolean;
    lots: Array<LotView> | null;
    mixed_at: string | null;
    next_mix_at?: string;
    no_room?: string;
    on_disk?: boolean;
    other_cups?: Array<OtherCup> | null;
    outcome?: string;
    pour_from?: Array<CanChoice> | null;
    pour_over?: PourOver;
    pours?: Array<Pour> | null;
    press: string | null;
    prints?: number;
    quality: string;
    ratio?: RatioView;
    ratio_reason?: string;
    remaining_s: SpanFloat64 | null;
    rest_until?: string;
    risk: number | null;
    scale?: string;
    seq: number;
    spent: number | null;
    state: string;
    step: string | null;
    still_good?: string;
    stop_at_risk: number;
    targets_g: Targets;
    thinner?: ThinnerView;
    thinner_reason?: string;
    time: string;
    warnings: Array<string> | null;
    why?: string;
    zone: string;
  }

  interface Bench {
    batches: Array<Batch> | null;
    bench: string;
    contact: "online" | "offline" | "silent" | "waiting" | "no-broker";
    heard_at?: string;
    presses: Array<Press> | null;
  }

  interface ByBench {
    at: string;
    seq: number;
    step: string;
    until: string;
  }

  interface CanChoice {
    can: string;
    colour?: string;
    expired?: string;
    expiry_not_known?: boolean;
    in_use: boolean;
    last_day?: string;
    lot?: string;
    material: string;
    stir?: string;
  }

  interface CanList {
    cans: Array<CanView> | null;
    seq: number;
  }

  interface CanView {
    colour?: string;
    emptied_at?: string;
    id: string;
    last_day?: string;
    lot?: string;
    made_at: string;
    material: string;
    opened_on?: string;
    part: string;
    state: "new" | "in-use" | "expired" | "expiry-not-known" | "empty";
    stir?: string;
    stirred_at?: string;
    use_by?: string;
    used_at?: string;
  }

  interface CheckHistory {
    checks: Array<HistoryCheck> | null;
    seq: number;
  }

  interface CloseBatch {
    empty_g?: number;
    left_g?: number;
    outcome: "used-up" | "discarded" | "went-off" | "not-known";
    scale?: string;
    seen?: "now" | "earlier";
    still_good?: "yes" | "no" | "unknown";
    weigh?: boolean;
  }

  interface ComesOff {
    batch: string;
    empty_g?: number;
    exposure?: number;
    left_g?: number;
    outcome: "used-up" | "discarded" | "went-off" | "not-known" | "kept";
    scale?: string;
    seen?: "now" | "earlier";
    still_good?: "yes" | "no" | "unknown";
    weigh?: boolean;
  }

  interface Component {
    can?: string;
    g: number;
    part: string;
  }

  interface Configuration {
    changes: Array<string> | null;
  }

  interface ConfirmStep {
    can?: string;
    can_override?: string;
    override?: string;
    part?: "ink" | "hardener" | "thinner";
    step: string;
    tared?: boolean;
  }

  interface CorrectPour {
    can?: string;
    material?: string;
    not_taken?: boolean;
    override?: string;
    part?: "ink" | "hardener" | "thinner";
    pour?: number;
    tared?: boolean;
    undo?: boolean;
  }

  interface Correction {
    add: Addition;
    off_pct?: number;
    thinner_g: number;
    to: string;
    total_g: number;
  }

  interface CountDefects {
    add?: number;
    at?: string;
    kind: string;
    total?: number;
  }

  interface CountPrints {
    add?: number;
    at?: string;
    total?: number;
  }

  interface Cure {
    add?: Addition;
    cup?: string;
    fits: boolean;
    g?: number;
    kind: string;
    off_pct?: number;
    part?: string;
    thinner_g?: number;
    to?: string;
    total_g: number;
  }

  interface Curve {
    bend: number;
    ends: number;
    per_kelvin: number;
    per_kelvin_spread: number;
    per_pct: number;
    per_pct_spread: number;
    rise: number;
    rise_spread: number;
    share: number;
    share_spread: number;
    start: number;
    start_spread: number;
  }

  interface DefectCount {
    kind: string;
    today: number;
    total: number;
    words: string;
  }

  interface DefectHistory {
    defects: Array<HistoryDefects> | null;
    seq: number;
  }

  interface Difference {
    batches: number;
    by: "ink-lot" | "hardener-lot" | "colour" | "press" | "weekday" | "closed-by";
    ends: number;
    group: string;
    life_ratio: number;
    ln_se: number;
    unusual: boolean;
  }

  interface EmptyCan {
    undo?: boolean;
  }

  interface EndJars {
    discard?: boolean;
  }

  interface Ended {
    age_s?: number;
    artwork?: string;
    at_least?: boolean;
    closed_at: string;
    colour_class?: string;
    cup?: string;
    defects?: Record<string, number>;
    id: string;
    ink: string;
    left_g?: number;
    mean_humidity_pct?: number;
    mean_temperature_c?: number;
    mixed_at?: string;
    outcome: "used-up" | "discarded" | "went-off" | "not-known" | "abandoned";
    poured_into?: string;
    presses: Array<Stay> | null;
    prints: number;
    risk?: number;
    seq: number;
    spent?: number;
    still_good?: string;
  }

  interface EndedList {
    batches: Array<Ended> | null;
    next: number;
    seq: number;
  }

  interface ErrorDetail {
    location?: string;
    message?: string;
    value?: unknown;
  }

  interface ErrorModel {
    detail?: string;
    errors?: Array<ErrorDetail> | null;
    instance?: string;
    status?: number;
    text: string;
    title?: string;
    type?: string;
  }

  interface Estimate {
    interval_90?: Array<number>;
    learned: boolean;
    se?: number;
    value: number;
  }

  type Event = EventAbandoned | EventAlarmAcknowledged | EventAlarmCleared | EventAlarmRaised | EventAlarmReturned | EventAlarmShelved | EventAlarmSuppressed | EventAlarmUnshelved | EventAlarmUnsuppressed | EventCanEmptied | EventCanMade | EventCanOpened | EventCanStirred | EventClockChanged | EventClosed | EventConfigurationRead | EventConfirmed | EventCorrected | EventCorrectionAccepted | EventCorrectionRevoked | EventDefects | EventDevicePaired | EventDeviceUnpaired | EventFlowTimed | EventGood | EventHardenerBegun | EventInService | EventInstrumentIdentified | EventJarLooked | EventJarsEnded | EventJarsStarted | EventJournalRebuilt | EventLearnedAccepted | EventLearnedRevoked | EventLeftWeighed | EventLoaded | EventMixStarted | EventMoved | EventOutOfService | EventPanChanged | EventPourOverBegun | EventPouredFrom | EventPouredOver | EventPrinted | EventRecorded | EventReplaced | EventRested | EventReweighed | EventScaleDay | EventScaleVerified | EventSensorDay | EventSensorVerified | EventSplit | EventStarted | EventStopped | EventTakenUp | EventTested | EventThinned | EventToppedUp | EventTrendTaken | EventUndone | EventUnloaded;

  interface EventAbandoned {
    age_s?: number;
    batch: string;
    bench: string;
    by: string;
    ink: string;
    journal: string;
    kind: "abandoned";
    seq: number;
    spent?: number;
    time: string;
    waste_g: number;
  }

  interface EventAlarmAcknowledged {
    alarm: string;
    bench: string;
    by: string;
    journal: string;
    kind: "alarm-acknowledged";
    seq: number;
    subject: string;
    time: string;
  }

  interface EventAlarmCleared {
    alarm: string;
    bench: string;
    by: string;
    journal: string;
    kind: "alarm-cleared";
    seq: number;
    subject: string;
    time: string;
  }

  interface EventAlarmRaised {
    alarm: string;
    bench: string;
    by: string;
    detail?: string;
    journal: string;
    kind: "alarm-raised";
    priority: string;
    seq: number;
    subject: string;
    text: string;
    time: string;
  }

  interface EventAlarmReturned {
    alarm: string;
    bench: string;
    by: string;
    journal: string;
    kind: "alarm-returned";
    seq: number;
    subject: string;
    time: string;
  }

  interface EventAlarmShelved {
    alarm: string;
    bench: string;
    by: string;
    journal: string;
    kind: "alarm-shelved";
    priority: string;
    reason?: string;
    seq: number;
    subject: string;
    time: string;
    until: string;
  }

  interface EventAlarmSuppressed {
    alarm: string;
    bench: string;
    by: string;
    journal: string;
    kind: "alarm-suppressed";
    priority: string;
    seq: number;
    subject: string;
    text: string;
    time: string;
  }

  interface EventAlarmUnshelved {
    alarm: string;
    bench: string;
    by: string;
    journal: string;
    kind: "alarm-unshelved";
    seq: number;
    subject: string;
    time: string;
  }

  interface EventAlarmUnsuppressed {
    alarm: string;
    bench: string;
    by: string;
    journal: string;
    kind: "alarm-unsuppressed";
    seq: number;
    subject: string;
    time: string;
  }

  interface EventBasis {
    life: EventInk;
    place: EventPlace;
    sensor: EventSensor;
    solvent: EventSolvent;
    weighing_u: number;
  }

  interface EventCanEmptied {
    bench: string;
    by: string;
    can: string;
    journal: string;
    kind: "can-emptied";
    seq: number;
    time: string;
    undo?: boolean;
  }

  interface EventCanMade {
    bench: string;
    by: string;
    can: string;
    colour?: string;
    journal: string;
    kind: "can-made";
    lot?: string;
    material: string;
    opened_on?: string;
    part: string;
    seq: number;
    time: string;
    use_by?: string;
  }

  interface EventCanOpened {
    bench: string;
    by: string;
    can: string;
    journal: string;
    kind: "can-opened";
    on: string;
    seq: number;
    time: string;
  }

  interface EventCanStirred {
    bench: string;
    by: string;
    can: string;
    journal: string;
    kind: "can-stirred";
    seq: number;
    time: string;
  }

  interface EventCheckPoint {
    allowed_pct: number;
    at: string;
    by?: string;
    failed?: boolean;
    note?: string;
    override?: string;
    raw_pct: number;
    read_pct: number;
    reference_pct: number;
    salt?: string;
    standard_pct: number;
  }

  interface EventClockChanged {
    bench: string;
    by: string;
    journal: string;
    kind: "clock-changed";
    seq: number;
    step_s: number;
    synced: boolean;
    time: string;
  }

  interface EventClosed {
    age_s?: number;
    batch: string;
    bench: string;
    by: string;
    ink: string;
    journal: string;
    kind: "closed";
    left_g?: number;
    outcome: string;
    press?: string;
    seen: string;
    seq: number;
    spent?: number;
    still_good: string;
    time: string;
  }

  interface EventConfigurationRead {
    bench: string;
    by: string;
    changes: Array<string> | null;
    devices?: Record<string, string>;
    journal: string;
    kind: "configuration-read";
    seq: number;
    time: string;
  }

  interface EventConfirmed {
    added_g: number;
    batch: string;
    bench: string;
    by: string;
    by_bench?: boolean;
    can?: string;
    journal: string;
    kind: "confirmed";
    mix: EventMix;
    mixed_at?: string;
    next: string;
    override?: string;
    part?: string;
    seq: number;
    step: string;
    time: string;
    weight_g: number;
  }

  interface EventCorrected {
    batch: string;
    bench: string;
    by: string;
    can?: string;
    g?: number;
    journal: string;
    kind: "corrected";
    material?: string;
    mix: EventMix;
    mixed_at?: string;
    not_taken?: boolean;
    override?: string;
    part?: string;
    pour?: number;
    seq: number;
    time: string;
    undo?: boolean;
  }

  interface EventCorrectionAccepted {
    bench: string;
    by: string;
    correction: EventLinearCorrection;
    journal: string;
    kind: "correction-accepted";
    points: Array<EventCheckPoint> | null;
    sensor: string;
    seq: number;
    time: string;
  }

  interface EventCorrectionRevoked {
    bench: string;
    by: string;
    journal: string;
    kind: "correction-revoked";
    offer?: EventLinearCorrection;
    points?: Array<EventCheckPoint> | null;
    sensor: string;
    seq: number;
    time: string;
  }

  interface EventCurve {
    bend: number;
    ends: number;
    per_kelvin: number;
    per_kelvin_spread: number;
    per_pct: number;
    per_pct_spread: number;
    rise: number;
    rise_spread: number;
    share: number;
    share_spread: number;
    start: number;
    start_spread: number;
  }

  interface EventDefects {
    add: number;
    age_s?: number;
    air_quality?: string;
    batch?: string;
    bench: string;
    by: string;
    counter?: number;
    day: string;
    defect: string;
    humidity_pct?: number;
    ink?: string;
    journal: string;
    kind: "defects";
    last: string;
    late?: boolean;
    life_quality?: string;
    minute: string;
    press: string;
    ratio_off_pct?: number;
    seq: number;
    spent?: number;
    temperature_c?: number;
    thinner_pct?: number;
    time: string;
    vapour_density_g_m3?: number;
    zone?: string;
  }

  interface EventDevicePaired {
    bench: string;
    by: string;
    device: string;
    journal: string;
    kind: "device-paired";
    seq: number;
    session: string;
    time: string;
  }

  interface EventDeviceUnpaired {
    bench: string;
    by: string;
    device: string;
    journal: string;
    kind: "device-unpaired";
    seq: number;
    session: string;
    time: string;
  }

  interface EventFlowTimed {
    batch: string;
    bench: string;
    by: string;
    corrects?: number;
    cup: string;
    curve: EventCurve;
    ink_temperature_c?: number;
    journal: string;
    kind: "flow-timed";
    runs_s: Array<number> | null;
    sample: EventSample;
    seq: number;
    time: string;
    viscosity_mm2_s: number;
  }

  interface EventGood {
    batch: string;
    bench: string;
    by: string;
    journal: string;
    kind: "good";
    seq: number;
    time: string;
  }

  interface EventHardenerBegun {
    batch: string;
    bench: string;
    by: string;
    journal: string;
    kind: "hardener-begun";
    mixed_at: string;
    seq: number;
    time: string;
    weighing_u: number;
  }

  interface EventInService {
    alarms: Array<string> | null;
    bench: string;
    by: string;
    journal: string;
    kind: "in-service";
    seq: number;
    subject: string;
    time: string;
  }

  interface EventInk {
    activation_kj_mol: number;
    activation_spread: number;
    at_humidity_pct?: number;
    at_temperature_c: number;
    batch_g?: number;
    l_ref_h: number;
    life_ln_spread: number;
    lot_ln_spread?: number;
    moisture_share: number;
    moisture_spread: number;
    sigma: number;
    sigma_learned?: boolean;
    sigma_ln_spread: number;
  }

  interface EventInstrumentIdentified {
    bench: string;
    by: string;
    device: string;
    journal: string;
    kind: "instrument-identified";
    name: string;
    scale?: boolean;
    seq: number;
    time: string;
    was?: string;
  }

  interface EventJarLooked {
    age_h?: number;
    at?: string;
    bench: string;
    by: string;
    ink: string;
    jar: number;
    journal: string;
    kind: "jar-looked";
    seen: "good" | "gone-off" | "mistake";
    seq: number;
    time: string;
  }

  interface EventJarSpreads {
    activation_kj_mol: number;
    moisture_share: number;
  }

  interface EventJarsEnded {
    bench: string;
    by: string;
    counts: boolean;
    ink: string;
    journal: string;
    kind: "jars-ended";
    seq: number;
    time: string;
  }

  interface EventJarsStarted {
    after: EventJarSpreads;
    before: EventJarSpreads;
    bench: string;
    by: string;
    ink: string;
    jars: Array<EventPlannedJar> | null;
    journal: string;
    kind: "jars-started";
    mixed_at: string;
    seq: number;
    time: string;
  }

  interface EventJournalRebuilt {
    aside?: string;
    bench: string;
    by: string;
    day: string;
    former?: string;
    journal: string;
    kind: "journal-rebuilt";
    lost?: Array<EventSpan> | null;
    presses?: Array<string> | null;
    reason: string;
    records?: number;
    seq: number;
    state_known: boolean;
    time: string;
  }

  interface EventLearnedAccepted {
    alive: number;
    assumed?: Array<string> | null;
    bench: string;
    by: string;
    ends: number;
    ink: string;
    journal: string;
    kind: "learned-accepted";
    life: EventInk;
    lots?: EventLots;
    seq: number;
    sheet: EventInk;
    time: string;
    verdict: string;
  }

  interface EventLearnedRevoked {
    bench: string;
    by: string;
    ink: string;
    journal: string;
    kind: "learned-revoked";
    seq: number;
    time: string;
  }

  interface EventLeftWeighed {
    batch: string;
    bench: string;
    by: string;
    empty_g: number;
    gross_g: number;
    journal: string;
    kind: "left-weighed";
    left_g: number;
    scale: string;
    seq: number;
    time: string;
  }

  interface EventLinearCorrection {
    covariance: number;
    gain: number;
    gain_standard: number;
    offset_pct: number;
    offset_standard_pct: number;
  }

  interface EventList {
    events: Array<Event> | null;
    seq: number;
  }

  interface EventLoadResult {
    coarse_weights?: boolean;
    error_g: number;
    in_service_g: number;
    initial_g: number;
    load_g: number;
    mean_g: number;
    n: number;
    spread_g: number;
    uncertainty_g: number;
    verdict: "passed" | "in-service" | "failed";
    weights_permitted_g: number;
  }

  interface EventLoaded {
    batch: string;
    bench: string;
    by: string;
    journal: string;
    kind: "loaded";
    place: EventPlace;
    press: string;
    seq: number;
    time: string;
    zone: string;
  }

  interface EventLot {
    batches: number;
    by: "ink-lot" | "hardener-lot";
    ends: number;
    life_ratio: number;
    ln_se: number;
    lot: string;
    with_life: number;
  }

  interface EventLots {
    hardener_ln_spread: number;
    ink_ln_spread: number;
    known: Array<EventLot> | null;
    within: number;
  }

  interface EventMix {
    by_bench?: string;
    by_hand?: boolean;
    cup_g?: number;
    over?: EventPouringOver;
    overrides?: Array<EventOverride> | null;
    pan: EventPan;
    pours?: Array<EventPour> | null;
    recipe: EventRecipe;
    rest_until?: string;
    step: string;
    stirred?: number;
    undone_g?: number;
    unexplained_g?: number;
  }

  interface EventMixStarted {
    artwork: string;
    basis: EventBasis;
    batch: string;
    bench: string;
    by: string;
    colour_class: string;
    cup: string;
    day: string;
    ink: string;
    journal: string;
    kind: "mix-started";
    mix: EventMix;
    press?: string;
    scale: string;
    seq: number;
    thinner_reason?: string;
    time: string;
    zone: string;
  }

  interface EventMoved {
    batch: string;
    bench: string;
    by: string;
    journal: string;
    kind: "moved";
    place: EventPlace;
    press?: string;
    seq: number;
    time: string;
    zone: string;
  }

  interface EventOtherCup {
    empty_g?: number;
    kind: string;
    maximum_g?: number;
    weighed?: boolean;
  }

  interface EventOutOfService {
    alarms: Record<string, string>;
    bench: string;
    by: string;
    journal: string;
    kind: "out-of-service";
    reason: string;
    seq: number;
    subject: string;
    time: string;
    until: string;
  }

  interface EventOverride {
    pours: number;
    reason: string;
    step: string;
  }

  interface EventPan {
    away_g?: number;
    base_g: number;
    blind?: boolean;
    cup_tared?: boolean;
    held_g?: number;
    shift_g?: number;
    state?: string;
  }

  interface EventPanChanged {
    batch: string;
    bench: string;
    by: string;
    change: string;
    journal: string;
    kind: "pan-changed";
    pan: EventPan;
    scale: string;
    seq: number;
    time: string;
  }

  interface EventPart {
    apart_pct?: number;
    beside_n?: number;
    mean_pct?: number;
    n?: number;
  }

  interface EventPlace {
    exposure: number;
    lag_s: number;
  }

  interface EventPlannedJar {
    expected_h: number;
    high_h: number;
    humidity_pct: number;
    low_h: number;
    open?: boolean;
    salt?: string;
    temperature_c: number;
  }

  interface EventPour {
    base_g: number;
    can?: string;
    early?: boolean;
    excused?: boolean;
    g: number;
    kept?: boolean;
    material?: string;
    part: string;
    rose_at: string;
    seq?: number;
    step: string;
  }

  interface EventPourOverBegun {
    batch: string;
    bench: string;
    by: string;
    empty_g?: number;
    from: string;
    journal: string;
    kind: "pour-over-begun";
    mix: EventMix;
    not_taken_g?: number;
    seq: number;
    time: string;
    to?: string;
    undo?: boolean;
    weight_g?: number;
  }

  interface EventPouredFrom {
    assumed?: boolean;
    batch: string;
    bench: string;
    by: string;
    can: string;
    expired_on?: string;
    expiry_not_known?: boolean;
    g: number;
    journal: string;
    kind: "poured-from";
    lot?: string;
    material: string;
    never_stirred?: boolean;
    opened_on?: string;
    override?: string;
    part: string;
    seq: number;
    stood_s?: number;
    time: string;
  }

  interface EventPouredOver {
    after_g: number;
    batch: string;
    before_g: number;
    bench: string;
    by: string;
    empty_g: number;
    from: string;
    journal: string;
    kind: "poured-over";
    lost_g: number;
    mix: EventMix;
    not_taken_g: number;
    override?: string;
    seq: number;
    solvent: EventSolvent;
    time: string;
    to: string;
    weight_g: number;
  }

  interface EventPouringOver {
    from: string;
    not_taken_g?: number;
    to: EventOtherCup;
  }

  interface EventPrinted {
    add: number;
    age_s?: number;
    air_quality?: string;
    batch?: string;
    bench: string;
    by: string;
    counter?: number;
    day?: string;
    humidity_pct?: number;
    ink?: string;
    journal: string;
    kind: "printed";
    last?: string;
    late?: boolean;
    life_quality?: string;
    minute?: string;
    press: string;
    ratio_off_pct?: number;
    seq: number;
    spent?: number;
    temperature_c?: number;
    thinner_pct?: number;
    time: string;
    vapour_density_g_m3?: number;
    zone?: string;
  }

  interface EventRecipe {
    cup_empty_g?: number;
    cup_maximum_g?: number;
    division_g: number;
    ink_minimum_g?: number;
    ink_target_g: number;
    ratio: string;
    rest_s?: number;
    stir_s?: number;
    thinner_max_pct: number;
    thinner_min_pct: number;
    thinner_pct: number;
    tolerance_pct: number;
  }

  interface EventRecorded {
    basis: EventBasis;
    batch: string;
    bench: string;
    by: string;
    cans?: Record<string, string>;
    colour_class?: string;
    cup: string;
    day: string;
    ink: string;
    journal: string;
    kind: "recorded";
    mix: EventMix;
    mixed_at: string;
    press?: string;
    seq: number;
    time: string;
    zone: string;
  }

  interface EventReplaced {
    bench: string;
    by: string;
    device: string;
    journal: string;
    kind: "replaced";
    note?: string;
    same?: boolean;
    seq: number;
    serial?: string;
    time: string;
  }

  interface EventRested {
    batch: string;
    bench: string;
    by: string;
    journal: string;
    kind: "rested";
    mix: EventMix;
    seq: number;
    time: string;
  }

  interface EventReweighed {
    batch: string;
    bench: string;
    by: string;
    content_g: number;
    journal: string;
    kind: "reweighed";
    loss_g: number;
    seq: number;
    taken_g: number;
    time: string;
    uncertainty_g: number;
  }

  interface EventSample {
    common_spread: number;
    cup?: string;
    drift?: number;
    ln_runs: Array<number> | null;
    run_spread: number;
    temperature_c: number;
    thinner_pct: number;
    thinner_spread: number;
  }

  interface EventScaleDay {
    bench: string;
    by: string;
    date: string;
    down_s?: number;
    journal: string;
    kind: "scale-day";
    lines?: number;
    noise_g?: number;
    oldest_s?: number;
    rejected?: number;
    scale: string;
    seq: number;
    settle_s?: number;
    settled: number;
    time: string;
    zero_g?: number;
  }

  interface EventScaleResult {
    loads: Array<EventLoadResult> | null;
    verdict: "passed" | "in-service" | "failed";
  }

  interface EventScaleVerified {
    bench: string;
    by: string;
    capacity_g: number;
    class: string;
    interval_g: number;
    journal: string;
    kind: "scale-verified";
    note?: string;
    readings_g: Array<Array<number> | null> | null;
    result: EventScaleResult;
    scale: string;
    seq: number;
    time: string;
    weight_class: string;
  }

  interface EventSensor {
    exact: boolean;
    humidity_accuracy_pct: number;
    overdue_months: number;
    temperature_accuracy_c: number;
  }

  interface EventSensorDay {
    apart_pct?: number;
    bench: string;
    beside?: string;
    by: string;
    date: string;
    down_s?: number;
    errors?: number;
    journal: string;
    jumps?: number;
    kind: "sensor-day";
    mean_c: number;
    mean_pct: number;
    n: number;
    oldest_s?: number;
    parts?: Array<EventPart> | null;
    same_s: number;
    sensor: string;
    seq: number;
    time: string;
  }

  interface EventSensorVerified {
    allowed_pct?: number;
    bench: string;
    by: string;
    failed?: boolean;
    finding?: "shifted" | "solvent";
    humidity_pct: number;
    journal: string;
    kind: "sensor-verified";
    note?: string;
    offer?: EventLinearCorrection;
    override?: string;
    points?: Array<EventCheckPoint> | null;
    read?: EventState;
    salt?: string;
    sensor: string;
    seq: number;
    temperature_c?: number;
    time: string;
  }

  interface EventSolvent {
    id?: string;
    mouth_mm: number;
    thinner: EventThinner;
  }

  interface EventSpan {
    first: number;
    last: number;
  }

  interface EventSplit {
    batch: string;
    bench: string;
    by: string;
    from: string;
    g: number;
    journal: string;
    kind: "split";
    place: EventPlace;
    press?: string;
    seq: number;
    time: string;
    zone: string;
  }

  interface EventStarted {
    bench: string;
    by: string;
    countable: boolean;
    devices?: Record<string, string>;
    gap_known: boolean;
    gap_s: number;
    instance: string;
    journal: string;
    kind: "started";
    seq: number;
    shift_s: number;
    time: string;
    version: string;
  }

  interface EventState {
    humidity_pct: number;
    temperature_c: number;
  }

  interface EventStopped {
    bench: string;
    by: string;
    journal: string;
    kind: "stopped";
    seq: number;
    time: string;
  }

  interface EventTakenUp {
    batch: string;
    bench: string;
    by: string;
    expected_g: number;
    journal: string;
    kind: "taken-up";
    mix: EventMix;
    override?: string;
    recognised?: boolean;
    scale: string;
    seq: number;
    time: string;
    weight_g: number;
  }

  interface EventTested {
    age_h?: number;
    batch: string;
    bench: string;
    by: string;
    corrects?: number;
    journal: string;
    kind: "tested";
    printed_at?: string;
    result: string;
    seq: number;
    spent?: number;
    test: string;
    time: string;
  }

  interface EventThinned {
    batch: string;
    bench: string;
    by: string;
    can?: string;
    g: number;
    journal: string;
    kind: "thinned";
    override?: string;
    seq: number;
    time: string;
  }

  interface EventThinner {
    molar_mass_g: number;
    vapour_pressure_pa: number;
  }

  interface EventToppedUp {
    batch: string;
    bench: string;
    by: string;
    from: string;
    g: number;
    ink: string;
    journal: string;
    kind: "topped-up";
    older: boolean;
    seq: number;
    time: string;
  }

  interface EventTrendTaken {
    batch: string;
    begin?: boolean;
    bench: string;
    by: string;
    curve: EventCurve;
    instrument: string;
    journal: string;
    jumped?: boolean;
    kind: "trend-taken";
    returned?: boolean;
    sample: EventSample;
    seq: number;
    time: string;
    value: number;
  }

  interface EventUndone {
    batch: string;
    batches: Array<string> | null;
    bench: string;
    by: string;
    cans?: Array<string> | null;
    journal: string;
    kind: "undone";
    of: string;
    presses?: Array<string> | null;
    seq: number;
    time: string;
    undoes: number;
  }

  interface EventUnloaded {
    batch?: string;
    bench: string;
    by: string;
    journal: string;
    kind: "unloaded";
    place: EventPlace;
    press: string;
    seq: number;
    time: string;
    zone: string;
  }

  interface Flow {
    agree: boolean;
    at: string;
    cup: string;
    ink_temperature_c?: number;
    runs_s: Array<number> | null;
    sample: Sample;
    seq: number;
    spent: number;
    viscosity_mm2_s: number;
  }

  interface FlowTimeBatch {
    corrects?: number;
    cup: "ford-1" | "ford-2" | "ford-3" | "ford-4" | "ford-5" | "iso-3" | "iso-4" | "iso-5" | "iso-6";
    ink_temperature_c?: number;
    second_run_s?: number;
    seconds: number;
  }

  interface GoodBatch {
  }

  interface Health {
    drift_pct?: number;
    drifts: boolean;
    error_share?: number;
    fails: boolean;
    jumps: boolean;
    jumps_per_day?: number;
    noise_g?: number;
    noisy: boolean;
    same_s?: number;
    settle_s?: number;
    stuck: boolean;
    stuck_after_s?: number;
    zero_g?: number;
  }

  interface HeardSample {
    confirmed: boolean;
    doubted: number;
    seq: number;
    why?: string;
  }

  interface HeardTrend {
    confirmed: boolean;
    doubted: number;
    instrument: string;
    learned: boolean;
    why: string;
  }

  interface History {
    artwork?: string;
    closed_at?: string;
    colour_class?: string;
    components: Array<Component> | null;
    cup?: string;
    defects?: Record<string, number>;
    events: Array<Event> | null;
    flow_times?: Array<Flow> | null;
    good_at?: string;
    id: string;
    ink: string;
    left_g?: number;
    lots: Array<LotView> | null;
    mixed_at?: string;
    outcome?: string;
    poured: Array<Component> | null;
    presses: Array<Stay> | null;
    prints: number;
    ratio?: RatioView;
    seq: number;
    started_at: string;
    state: string;
    still_good?: string;
    targets_g: Targets;
    tests: Array<Test> | null;
    trend?: Trend;
    via?: string;
    warnings: Array<string> | null;
  }

  interface HistoryAir {
    dew_point_c?: number;
    humidity_high_pct: number;
    humidity_low_pct: number;
    humidity_pct: number;
    known_s?: number;
    local: string;
    quality: "good" | "uncertain";
    readings?: number;
    sensor?: string;
    source: "bench" | "paper";
    temperature_c: number;
    temperature_high_c: number;
    temperature_low_c: number;
    time: string;
    to: string;
    vapour_density_g_m3: number;
    zone?: string;
  }

  interface HistoryBatch {
    age_s?: number;
    artwork?: string;
    at_least?: boolean;
    closed_at: string;
    colour_class?: string;
    cup?: string;
    defects: number;
    hardener_g?: number;
    id: string;
    ink: string;
    ink_g?: number;
    last_good_at?: string;
    left_g?: number;
    lots?: string;
    mean_humidity_pct?: number;
    mean_temperature_c?: number;
    mean_vapour_density_g_m3?: number;
    mixed_at?: string;
    outcome: "used-up" | "discarded" | "went-off" | "not-known" | "abandoned";
    poured_into?: string;
    press?: string;
    prints: number;
    ratio_off_pct?: number;
    risk?: number;
    seq: number;
    source: "bench" | "paper";
    spent?: number;
    still_good?: string;
    thinner_g?: number;
    thinner_pct?: number;
    zone?: string;
  }

  interface HistoryCheck {
    allowed_pct?: number;
    by: string;
    local: string;
    note?: string;
    off_humidity_pct?: number;
    off_temperature_c?: number;
    passed: boolean;
    read_humidity_pct?: number;
    read_temperature_c?: number;
    reference_humidity_pct: number;
    reference_temperature_c?: number;
    sensor: string;
    seq: number;
    time: string;
  }

  interface HistoryDefects {
    age_s?: number;
    batch?: string;
    defects: number;
    humidity_pct?: number;
    ink?: string;
    kind: string;
    local: string;
    press: string;
    ratio_off_pct?: number;
    source: "bench" | "paper";
    spent?: number;
    temperature_c?: number;
    thinner_pct?: number;
    time: string;
    to: string;
    vapour_density_g_m3?: number;
  }

  interface HistoryList {
    air: Array<AirPoint> | null;
    seq: number;
  }

  interface HistoryPrints {
    age_s?: number;
    batch?: string;
    humidity_pct?: number;
    ink?: string;
    local: string;
    press: string;
    prints: number;
    ratio_off_pct?: number;
    source: "bench" | "paper";
    spent?: number;
    temperature_c?: number;
    thinner_pct?: number;
    time: string;
    to: string;
    vapour_density_g_m3?: number;
  }

  interface InkList {
    inks: Array<InkView> | null;
    seq: number;
  }

  interface InkView {
    assumed: string;
    hardener?: string;
    hardener_ratio: string;
    id: string;
    jar_test?: JarTest;
    learned?: LearnedView;
    life_ref_h: number;
    moisture_share: number;
    ratio_tolerance_pct: number;
    rest_s: number;
    safety_data_sheets?: Array<SafetySheet> | null;
    stir_s: number;
    thinner_dark_pct: number;
    thinner_light_pct: number;
    thinner_max_pct: number;
    thinner_min_pct: number;
    thinners: Array<string> | null;
  }

  interface Jar {
    expected_at: string;
    gone_off_at?: string;
    humidity_pct: number;
    jar: number;
    last_good_at?: string;
    look_from: string;
    look_until: string;
    open?: boolean;
    salt?: string;
    temperature_c: number;
  }

  interface JarPlace {
    humidity_pct?: number;
    open?: boolean;
    salt?: "lithium-chloride" | "magnesium-chloride" | "potassium-carbonate" | "sodium-chloride" | "potassium-chloride" | "potassium-sulphate";
    temperature_c: number;
  }

  interface JarSpreads {
    activation_kj_mol: number;
    moisture_share: number;
  }

  interface JarTest {
    after: JarSpreads;
    before: JarSpreads;
    jars: Array<Jar> | null;
    mixed_at: string;
  }

  interface KeyRefusal {
    at: string;
    code?: string;
    detail: string;
    text: string;
  }

  interface LearnedView {
    activation_kj_mol: number;
    by: string;
    life_ref_h: number;
    moisture_share: number;
    sigma: number;
    since: string;
    verdict: string;
  }

  interface Learning {
    acceptable: boolean;
    activation_kj_mol: Estimate;
    assumed: Array<string> | null;
    cautions: Array<string> | null;
    censored: number;
    differences: Array<Difference> | null;
    ends: number;
    ink: string;
    jars: number;
    l_ref_h: Estimate;
    learned: Array<string> | null;
    left_out: number;
    left_out_rows: Array<UnusedBatch> | null;
    life_ratio: Estimate;
    lots: Lots;
    moisture_share: Estimate;
    sigma: Estimate;
    verdict: string;
    why_not?: string;
  }

  interface LeftOut {
    sensor: string;
    why: "differs" | "stale" | "stuck" | "drifts" | "implausible" | "check-failed" | "out-of-service" | "waiting";
  }

  interface LightList {
    lights: Array<LightView> | null;
    seq: number;
  }

  interface LightView {
    batch?: string;
    cause: string;
    colour: string;
    confirmation?: "confirmed" | "waiting" | "silent";
    confirmed_at?: string;
    flashing: boolean;
    id: string;
    meaning: string;
    press?: string;
    reason: string;
    says?: string;
    seq: number;
    time: string;
    valid_until: string;
  }

  interface LoadBatch {
    comes_off?: ComesOff;
    looked?: boolean;
    press: string;
    replace?: boolean;
  }

  interface LoadResult {
    coarse_weights?: boolean;
    error_g: number;
    in_service_g: number;
    initial_g: number;
    load_g: number;
    mean_g: number;
    n: number;
    spread_g: number;
    uncertainty_g: number;
    verdict: "passed" | "in-service" | "failed";
    weights_permitted_g: number;
  }

  interface LookAtJar {
    at?: string;
    jar: number;
    seen: "good" | "gone-off" | "mistake";
  }

  interface Lot {
    batches: number;
    by: "ink-lot" | "hardener-lot";
    ends: number;
    life_ratio: number;
    ln_se: number;
    lot: string;
    with_life: number;
  }

  interface LotView {
    assumed?: boolean;
    can: string;
    lot?: string;
    material?: string;
    part: string;
  }

  interface Lots {
    hardener_ln_spread: number;
    ink_ln_spread: number;
    known: Array<Lot> | null;
    within: number;
  }

  interface MakeCan {
    colour?: string;
    hardener?: string;
    id?: string;
    ink?: string;
    lot?: string;
    opened_on?: string;
    thinner?: string;
    use_by?: string;
  }

  interface Mix {
    begin_at?: string;
    begin_h: number;
    hardener_g: number;
    ink_g: number;
    left_g: number;
    low_at?: string;
    low_h: number;
    number: number;
    press: number;
    print_from_at?: string;
    print_from_h: number;
    prints: number;
    thinner_g: number;
    total_g: number;
    used_up_at?: string;
    used_up_h: number;
  }

  interface MoveBatch {
    exposure?: number;
    looked?: boolean;
    press?: string;
    replace?: boolean;
    zone?: string;
  }

  interface Narrowing {
    by: "flow-times" | "ends-of-the-lot" | "two-figures" | "nearer-figure" | "four-ends" | "knowing-the-air" | "better-sensor" | "finer-scale" | "one-way-of-covering" | "adhesion-tests";
    width: number;
  }

  interface NeighbourList {
    neighbours: Array<Bench> | null;
    seq: number;
  }

  interface NewLife {
    ends_at: SpanTime;
    from: string;
    lasts_s: SpanFloat64;
    quality: string;
    why?: string;
    zone: string;
  }

  interface NotTaken {
    g: number;
    must_name?: boolean;
    part?: string;
    step: string;
  }

  interface OpenCan {
    on?: string;
  }

  interface Other {
    finish_h: number;
    left_g: number;
    mixes: number;
  }

  interface OtherCup {
    cup: string;
    empty_g?: number;
    takes_g?: number;
  }

  interface Over {
    id?: string;
    name?: string;
    seq: number;
    state: string;
    subject?: string;
    time: string;
  }

  interface Pairing {
    device?: string;
    pin: string;
  }

  interface Part {
    part: "batch-scatter" | "lot" | "life" | "energy" | "moisture" | "air-to-come" | "sensor" | "exposure" | "weighing" | "cup" | "adhesion" | "other";
    share: number;
  }

  interface Past {
    artwork?: string;
    closed_at?: string;
    colour_class?: string;
    components: Array<Component> | null;
    cup?: string;
    defects?: Record<string, number>;
    flow_times?: Array<Flow> | null;
    good_at?: string;
    id: string;
    ink: string;
    left_g?: number;
    lots: Array<LotView> | null;
    mixed_at?: string;
    outcome?: string;
    presses: Array<Stay> | null;
    prints: number;
    ratio?: RatioView;
    seq: number;
    started_at: string;
    state: string;
    still_good?: string;
    targets_g: Targets;
    tests: Array<Test> | null;
    trend?: Trend;
    via?: string;
    warnings: Array<string> | null;
  }

  interface Picture {
    about: string;
    empty?: string;
    svg: string;
    tables: Array<PictureData> | null;
    title: string;
  }

  interface PictureData {
    caption: string;
    head: Array<string> | null;
    rows: Array<Array<string> | null> | null;
  }

  interface Pour {
    at: string;
    can?: string;
    g: number;
    kept?: boolean;
    material?: string;
    part: string;
    seq?: number;
    step: string;
  }

  interface PourMixOver {
    cup?: string;
    empty_g?: number;
    undo?: boolean;
  }

  interface PourOver {
    content_g: number;
    cup: string;
    empty_g?: number;
    not_taken_g: number;
    old_g: number;
    step: string;
    whole_g?: number;
  }

  interface PouringView {
    accepted: boolean;
    cures?: Array<Cure> | null;
    high_g: number;
    low_g: number;
    part: string;
    poured_g: number;
    target_g: number;
    verdict: "below" | "right" | "over" | "too-much";
  }

  interface Press {
    as_of?: string;
    batch?: string;
    cause?: string;
    flashing: boolean;
    id: string;
    meaning: string;
    reason: string;
    was?: string;
  }

  interface PressList {
    presses: Array<PressView> | null;
    seq: number;
  }

  interface PressView {
    batch: string | null;
    cause: string;
    cup: string;
    defects: Array<DefectCount> | null;
    flashing: boolean;
    id: string;
    meaning: string;
    next_mix?: string;
    prints_today?: number;
    prints_total?: number;
    reason: string;
    remaining_s: SpanFloat64 | null;
    risk: number | null;
    zone: string;
  }

  interface PrintHistory {
    prints: Array<HistoryPrints> | null;
    seq: number;
  }

  interface PutInService {
  }

  interface RatioView {
    ink_per_hardener: number;
    off_pct: number;
    tolerance_pct: number;
    uncertainty_pct: number;
  }

  interface RecipeView {
    cup: string;
    division_g: number;
    grade: "fine" | "usable" | "coarse";
    ink: string;
    ink_minimum_g: number;
    life?: NewLife;
    life_unknown?: string;
    press?: string;
    ratio_tolerance_pct: number;
    ratio_uncertainty_pct: number;
    scale: string;
    smaller_cup?: SmallerCup;
    smallest_ink_g: number;
    targets_g: Targets;
    thinner_max_pct: number;
    thinner_min_pct: number;
    thinner_pct: number;
    thinner_start_pct: number;
    thinner_uncertainty_pct_points: number;
    total_g: number;
    why: Array<string> | null;
  }

  interface RecordMix {
    colour_class?: "dark" | "light" | "heavy-light";
    components: Array<Component>;
    cup?: string;
    ink: string;
    mixed_at: string;
    press?: string;
    zone?: string;
  }

  interface ReplaceDevice {
    note?: string;
    same?: boolean;
    serial?: string;
  }

  interface RevokeCorrection {
  }

  interface ReweighBatch {
    content_g: number;
    taken_g?: number;
  }

  interface SafetySheet {
    id: string;
    link: string;
    part: "ink" | "hardener" | "thinner";
  }

  interface Sample {
    common_spread: number;
    cup?: string;
    drift?: number;
    ln_runs: Array<number> | null;
    run_spread: number;
    temperature_c: number;
    thinner_pct: number;
    thinner_spread: number;
  }

  interface ScaleCheck {
    at: string;
    by: string;
    class: string;
    loads: Array<LoadResult> | null;
    note?: string;
    verdict: "passed" | "in-service" | "failed";
    weight_class?: string;
  }

  interface ScaleList {
    scales: Array<ScaleView> | null;
    seq: number;
  }

  interface ScaleLoad {
    readings_g: Array<number> | null;
    weights_g: Array<number> | null;
  }

  interface ScaleView {
    batch?: string;
    cup_back_g?: number;
    detail?: string;
    division_g: number;
    id: string;
    key_refused?: KeyRefusal;
    not_taken?: NotTaken;
    pouring?: PouringView;
    quality: string;
    stable: boolean;
    time?: string;
    weight_g?: number;
    which_cup?: Array<string> | null;
    why?: string;
  }

  interface SensorCheckPoint {
    allowed_pct: number;
    at: string;
    by?: string;
    note?: string;
    off_pct: number;
    override?: string;
    passed: boolean;
    read_pct: number;
    reference_pct: number;
    salt?: string;
    uncertainty_pct: number;
  }

  interface SensorCorrection {
    at?: string;
    by?: string;
    changes_pct: number;
    gain: number;
    offset_pct: number;
    uncertainty_pct: number;
  }

  interface SensorHistory {
    sensors: Array<HistoryAir> | null;
    seq: number;
  }

  interface SensorList {
    sensors: Array<SensorView> | null;
    seq: number;
  }

  interface SensorView {
    check_due_at?: string;
    check_failed?: string;
    check_finding?: "shifted" | "solvent";
    check_points?: Array<SensorCheckPoint> | null;
    checked_at?: string;
    condition: string;
    correction?: SensorCorrection;
    correction_offered?: SensorCorrection;
    detail?: string;
    device?: string;
    device_before?: string;
    disagrees?: string;
    health?: Health;
    humidity_pct?: number;
    id: string;
    moved_from?: string;
    out_of_service_until?: string;
    read_at?: string;
    replaced_at?: string;
    scale_check?: ScaleCheck;
    since: string;
    temperature_c?: number;
    text?: string;
  }

  interface Session {
    device: string;
    id: string;
    made: string;
    mine: boolean;
    until: string;
  }

  interface SessionList {
    pin_set: boolean;
    seq: number;
    sessions: Array<Session> | null;
  }

  interface ShelveAlarm {
    reason?: string;
    until: string;
  }

  interface SmallerCup {
    cup: string;
    ink_g: number;
    life?: NewLife;
    total_g: number;
  }

  interface SpanFloat64 {
    expected: number;
    high: number;
    low: number;
  }

  interface SpanTime {
    expected: string;
    high: string;
    low: string;
  }

  interface SplitBatch {
    exposure?: number;
    grams: number;
    looked?: boolean;
    replace?: boolean;
    to: Where;
  }

  interface StartJars {
    jars: Array<JarPlace>;
    mixed_at?: string;
  }

  interface StartMix {
    artwork?: "fine-detail" | "normal" | "large-solid";
    colour_class?: "dark" | "light" | "heavy-light";
    cup?: string;
    ink: string;
    ink_g?: number;
    press?: string;
    scale?: string;
    thinner_pct?: number;
    thinner_reason?: string;
  }

  interface Stay {
    from: string;
    press: string;
    prints: number;
    to?: string;
  }

  interface StirCan {
  }

  interface StorageList {
    free_bytes?: number;
    seq: number;
    storage: Array<Stored> | null;
    version: string;
  }

  interface Stored {
    bytes: number;
    detail?: string;
    dropped_readings: number;
    file: "journal" | "history";
    limit_bytes?: number;
    ok: boolean;
  }

  interface StudyAnswer {
    batches: number;
    clusters_are: "day" | "batch" | "none";
    computed_at?: string;
    curved: boolean;
    curves: Array<StudyCurve> | null;
    days: number;
    defects: number;
    defects_without_prints: number;
    design_effect?: number;
    effects: Array<StudyEffect> | null;
    from?: string;
    headline: string;
    kinds: Array<string> | null;
    model: "poisson" | "logistic";
    prints: number;
    prints_without_air: number;
    relevant_pct: number;
    sentences: Array<string> | null;
    span_s: number;
    threshold?: StudyThreshold;
    to?: string;
    totals: Array<StudyTotal> | null;
    verdict: "more-defects" | "fewer-defects" | "nothing-found" | "not-enough-data";
    weeks_more?: number;
  }

  interface StudyBin {
    clusters: number;
    defects: number;
    high: number;
    low: number;
    mean: number;
    prints: number;
    rate: number;
    rate_high: number;
    rate_low: number;
  }

  interface StudyChart {
    by: "hour" | "batch" | "day";
    centre: number;
    kind: string;
    laney: boolean;
    points: Array<StudyChartPoint> | null;
    press: string;
    sigma_z: number;
    sparse: boolean;
    type: "p" | "u";
  }

  interface StudyChartPoint {
    batch?: string;
    defects: number;
    from: string;
    high: number;
    humidity_pct?: number;
    low: number;
    out: boolean;
    prints: number;
    rate: number;
    rules: Array<"nine-on-one-side" | "six-in-one-direction" | "fourteen-in-turn" | "two-of-three-far" | "four-of-five-off" | "fifteen-near" | "eight-away"> | null;
    spent?: number;
    temperature_c?: number;
    to: string;
    vapour_density_g_m3?: number;
    z: number;
  }

  interface StudyCurve {
    bins: Array<StudyBin> | null;
    factor: string;
    kind: string;
    line: Array<StudyPoint> | null;
    title: string;
  }

  interface StudyEffect {
    adjusted_for: Array<string> | null;
    clusters: number;
    defects: number;
    design_effect?: number;
    dispersion?: number;
    excluded: boolean;
    factor: "vapour_density_g_m3" | "humidity_pct" | "temperature_c" | "spent" | "thinner_pct" | "ratio_error_pct";
    figures: string;
    firm: boolean;
    found: boolean;
    kind: string;
    method?: "cluster-bias-reduced" | "quasi-likelihood";
    p?: number;
    prints: number;
    q?: number;
    ratio?: number;
    ratio_high?: number;
    ratio_low?: number;
    reason?: "no-prints" | "no-defects" | "few-defects" | "no-change" | "one-sided" | "undecided" | "not-fitted" | "few-prints";
    step: number;
    sure: string;
    swing?: number;
    swing_high?: number;
    swing_low?: number;
    together_with: Array<string> | null;
    weeks_more?: number;
    words: string;
  }

  interface StudyPoint {
    rate: number;
    rate_high: number;
    rate_low: number;
    x: number;
  }

  interface StudyThreshold {
    at_g_m3?: number;
    cool_c?: number;
    dry_g_m3: number;
    high_g_m3?: number;
    kind: string;
    low_g_m3?: number;
    relevant_at_g_m3?: number;
    relevant_high_g_m3?: number;
    relevant_low_g_m3?: number;
    told: boolean;
    warm_c?: number;
  }

  interface StudyTotal {
    defects: number;
    kind: string;
    rate: number;
    rate_high: number;
    rate_low: number;
  }

  interface TakeOutOfService {
    reason: string;
    until: string;
  }

  interface TakeUp {
    override?: string;
  }

  interface Targets {
    hardener: number;
    ink: number;
    thinner: number;
  }

  interface Test {
    at: string;
    kind: string;
    printed_at?: string;
    result: string;
    seq?: number;
    spent?: number;
  }

  interface TestBatch {
    corrects?: number;
    kind: "adhesion" | "rub" | "other";
    printed_at?: string;
    result: "pass" | "fail";
  }

  interface ThinBatch {
    can?: string;
    grams: number;
    override?: string;
  }

  interface ThinnerView {
    add_g: number;
    at_limit: boolean;
    basis: string;
    lost_g: number;
    note: string;
    pipettes: number;
    poured_pct: number;
    thinner_pct: number;
    whole_g: number;
    whole_pipettes: number;
  }

  interface TopUpBatch {
    from: string;
  }

  interface TracedList {
    batches: Array<Past> | null;
    next: number;
    seq: number;
  }

  interface Trend {
    added?: Amounts;
    curve: Curve;
    given_away?: number;
    instrument: string;
    jumped_from_lost_g?: number;
    lost_g?: number;
    press: string;
    samples: Array<TrendSample> | null;
  }

  interface TrendInstrument {
    batch?: string;
    condition: string;
    detail?: string;
    doubted?: string;
    id: string;
    press: string;
    read_at?: string;
    since: string;
    text?: string;
    value?: number;
  }

  interface TrendList {
    seq: number;
    trends: Array<TrendInstrument> | null;
  }

  interface TrendSample {
    at: string;
    begin?: boolean;
    sample: Sample;
    seq: number;
    spent: number;
    value: number;
  }

  interface Undo {
    seq: number;
  }

  interface UnloadBatch {
  }

  interface UnshelveAlarm {
  }

  interface UnusedBatch {
    early?: boolean;
    id: string;
    impossible?: boolean;
    why: string;
  }

  interface VerifyScale {
    capacity_g?: number;
    class?: "I" | "II" | "III" | "IIII";
    interval_g?: number;
    loads: Array<ScaleLoad>;
    note?: string;
    weight_class: "E1" | "E2" | "F1" | "F2" | "M1" | "M2" | "M3";
  }

  interface VerifySensor {
    accuracy_pct?: number;
    humidity_pct?: number;
    note?: string;
    override?: string;
    salt?: "lithium-chloride" | "magnesium-chloride" | "potassium-carbonate" | "sodium-chloride" | "potassium-chloride" | "potassium-sulphate";
    temperature_c?: number;
  }

  interface Waste {
    batches: number;
    grams: number;
    kind: "left-over" | "went-off" | "discarded" | "not-known" | "abandoned";
    month: string;
    not_weighed: number;
  }

  interface WasteList {
    seq: number;
    waste: Array<Waste> | null;
  }

  interface WhatIf {
    as_now: SpanTime;
    assumed: string;
    ends_at: SpanTime;
    humidity_pct: number;
    id: string;
    quality: string;
    temperature_c: number;
    zone: string;
  }

  interface Where {
    press?: string;
    zone?: string;
  }
}
