// Written by spiracle.doors.wire_types from the shapes and the events. Not edited by hand.
// A moment is ISO 8601 text with its zone. A Decimal is posted as typed: no figure is rounded on the way.

export type Decimal = number | string;

export type MarkName = "measured" | "predicted" | "table" | "typed" | "worked";
export type ZoneName = "forbidden" | "unusual" | "usual";
export type Priority = "high" | "low" | "medium";
export type PhaseName = "assess" | "induce" | "maintain" | "plan" | "prepare" | "record" | "recover";
export type SyringeClass = "anticholinergic" | "hypnotic" | "induction" | "local" | "opioid" | "other" | "relaxant" | "vasopressor";

export interface CaseView {
  case: string;
  seq: number;
  as_of: string;
  collar: Collar;
  phases: PhaseState[];
  advice: Advice[];
  due: Due[];
  assess: AssessSheet;
  plan: PlanSheet;
  prepare: PrepareSheet;
  induce: InduceSheet;
  maintain: MaintainSheet;
  recover: RecoverSheet;
  emergency: EmergencySheet | null;
  record: RecordSheet;
  versions: string[];
}

export interface Collar {
  case: string;
  name: string;
  species: string;
  breed: string;
  age: string;
  sex: string;
  kind: "elective" | "emergency";
  practice: boolean;
  weight: Num | null;
  weight_kg: number | null;
  weight_basis: string;
  weight_at: string | null;
  weight_by: string;
  weight_stale: boolean;
  estimated: boolean;
  asa: string;
  allergies: Allergies;
  planned_at: string | null;
  induced_at: string | null;
  ended_at: string | null;
  draft: boolean;
  draft_reasons: string[];
}

export interface Num {
  text: string;
  unit: string;
  mark: "measured" | "predicted" | "table" | "typed" | "worked";
  memory: boolean;
  estimated: boolean;
  at: string | null;
  by: string;
  working: WorkingShape | null;
}

export interface WorkingShape {
  title: string;
  says: string;
  inputs: WorkingInput[];
  held: string[];
  bar: ZoneBar | null;
  cited: Cited[];
  memory: boolean;
  estimated: boolean;
}

export interface WorkingInput {
  name: string;
  text: string;
  mark: "measured" | "predicted" | "table" | "typed" | "worked";
  note: string;
}

export interface ZoneBar {
  unit: string;
  at: number;
  usual_low: number;
  usual_high: number;
  order_high: number | null;
  hard: number | null;
  zone: "forbidden" | "unusual" | "usual";
  memory: boolean;
  hard_memory: boolean;
}

export interface Cited {
  citation: string;
  seen: string;
  memory: boolean;
}

export interface Allergies {
  state: "listed" | "none known" | "not asked";
  text: string;
  asked_at: string | null;
}

export interface PhaseState {
  phase: "assess" | "induce" | "maintain" | "plan" | "prepare" | "record" | "recover";
  state: "ahead" | "done" | "open";
  gaps: number;
  gap_words: string[];
}

export interface Advice {
  id: string;
  priority: "high" | "low" | "medium";
  title: string;
  since: string | null;
  body: string;
  acts: Act[];
}

export interface Act {
  label: string;
  event: string;
  fields: Record<string, string | number | boolean | null>;
  main: boolean;
}

export interface Due {
  id: string;
  title: string;
  detail: string;
  at: string;
  from_at: string | null;
  phase: "assess" | "induce" | "maintain" | "plan" | "prepare" | "record" | "recover";
}

export interface AssessSheet {
  facts: Fact[];
  results: Fact[];
  medicines: Fact[];
  before: Fact[];
  previous: Fact[];
  flags: RiskFlag[];
  conditions: string[];
  asa: string;
  asa_emergency: boolean;
  asa_by: string;
  procedure: string;
  procedure_minutes: number | null;
  resuscitation: string;
}

export interface Fact {
  id: string;
  label: string;
  value: string;
  event_id: string;
  at: string | null;
  by: string;
  gap: boolean;
  note: string;
}

export interface RiskFlag {
  title: string;
  changes: string;
  severity: "avoid" | "care" | "never";
  memory: boolean;
  cited: Cited[];
}

export interface PlanSheet {
  lines: DrugLine[];
  airway: AirwayPlan | null;
  breathing: BreathingPlan | null;
  fluids: FluidPlan | null;
  limits: LimitRow[];
  budgets: Budget[];
  cautions: RiskFlag[];
  sent_to: string;
  signed_by: string;
  signed_how: string;
  signed_at: string | null;
  open_lines: number;
  weight_basis: string;
  lean: Num | null;
  protocol: string;
  bags: BagRecipe[];
}

export interface DrugLine {
  order: string;
  event_id: string;
  drug: string;
  name: string;
  syringe_class: "anticholinergic" | "hypnotic" | "induction" | "local" | "opioid" | "other" | "relaxant" | "vasopressor";
  reversal: boolean;
  controlled: string;
  strength: string;
  vial: string;
  strengths: string[];
  purpose: string;
  route: string;
  order_text: string;
  when: string;
  given_as: string;
  ordered_by: string;
  infusion: boolean;
  dose: Num | null;
  amount: Num | null;
  volume: Num | null;
  rate: Num | null;
  delivered: Num | null;
  error_percent: number | null;
  bar: ZoneBar | null;
  barrel: string;
  mark_ml: number | null;
  holds_ml: number | null;
  volume_ml: number | null;
  pushes: number[];
  dilution: DilutionShape | null;
  conditions: string[];
  cautions: RiskFlag[];
  refusal: Refused | null;
  memory: boolean;
  speak: string;
  ladder: Ladder | null;
  onset: string;
  minutes_to_give: string;
  cautions_at_large: RiskFlag[];
  other_bases: OtherBasis[];
  hub: string;
  scale: string;
  needs: string[];
  protocol: string;
  at_push: AtPush | null;
  card: InfusionCard | null;
  lot: string;
  expires: string;
}

export interface DilutionShape {
  concentration: string;
  drug_volume: Num;
  diluent_volume: Num;
  diluent: string;
  total: Num;
  label: string;
  memory: boolean;
  barrel: string;
  steps: string[];
}

export interface Refused {
  name: string;
  field: string;
  says: string;
  accepts: string;
  use: string | null;
}

export interface Ladder {
  barrel: string;
  mark_ml: number;
  holds_ml: number;
  unit: string;
  rungs: Rung[];
}

export interface Rung {
  ml: number;
  text: string;
  amount: number;
  amount_text: string;
  per_kg_text: string;
  zone: "forbidden" | "unusual" | "usual";
  over_order: boolean;
}

export interface OtherBasis {
  basis: string;
  weight: Num;
  amount: Num | null;
  volume: Num | null;
  rate: Num | null;
  differs_percent: number;
}

export interface AtPush {
  order_ref: string;
  before: BeforeLine[];
  onset: string;
  lasts: string;
  onset_at: string | null;
  next_due: string | null;
  with_on_board: RiskFlag[];
  difference: string;
  unsigned: string;
  times_memory: boolean;
  times_cited: Cited[];
}

export interface BeforeLine {
  event_id: string;
  at: string;
  text: string;
  by: string;
  here: boolean;
}

export interface InfusionCard {
  order: string;
  infusion: string;
  drug: string;
  name: string;
  syringe_class: "anticholinergic" | "hypnotic" | "induction" | "local" | "opioid" | "other" | "relaxant" | "vasopressor";
  controlled: string;
  strength: string;
  diluted: string;
  ordered: string;
  rate: Num | null;
  per_min: Num | null;
  per_hour: Num | null;
  drops: DropRate[];
  no_drops: string;
  loading: string;
  loading_volume: Num | null;
  holds: Num | null;
  minutes: Num | null;
  empty_at: string | null;
  speak: string;
  void: string;
  memory: boolean;
  estimated: boolean;
  working: WorkingShape | null;
}

export interface DropRate {
  drops_per_ml: number;
  per_min: Num;
  seconds_between: Num;
  gives: Num | null;
  error_percent: number;
}

export interface AirwayPlan {
  tubes: TubeShape[];
  why: string;
  insertion: Num | null;
  cut: Num | null;
  stylet_setback: Num | null;
  dead_space_before: Num | null;
  dead_space_after: Num | null;
  parts: Part[];
  percent_of_breath: number | null;
  tidal: Num | null;
  warn_percent: number | null;
  stop_percent: number | null;
  warning: string;
  cautions: string[];
  mark: Num | null;
  attempts: string[];
  memory: boolean;
  refusal: Refused | null;
  working: WorkingShape | null;
  stylet_bend: Num | null;
  ml_per_kg: number | null;
  combined: string;
  estimates: EstimateRow[];
  disagreements: string[];
  unused: string[];
  ranked: RankedTube[];
  changes: ChangeRow[];
  resistances: ResistanceRow[];
  co2_uncut: Num | null;
  co2: Num | null;
  co2_from: string;
  co2_words: string;
  drawing: DrawnTube | null;
}

export interface TubeShape {
  role: "first choice" | "one larger" | "one smaller";
  id_text: string;
  id_mm: number;
  od_mm: number;
  od_memory: boolean;
  cuffed: boolean;
  fits: number | null;
  why: string;
}

export interface Part {
  name: string;
  ml: number;
  text: string;
}

export interface EstimateRow {
  name: string;
  text: string;
  id_mm: number;
  sd_mm: number;
  memory: boolean;
  working: WorkingShape | null;
}

export interface RankedTube {
  id_text: string;
  id_mm: number;
  od_mm: number;
  od_memory: boolean;
  cuffed: boolean;
  too_small: number;
  fits: number;
  too_large: number;
  place: string;
  why: string;
}

export interface ChangeRow {
  says: string;
  saves_ml: number;
  memory: boolean;
}

export interface ResistanceRow {
  role: string;
  id_text: string;
  lost: Num;
  regime: string;
  reynolds: number;
  times_first: number;
  bench: string;
}

export interface DrawnTube {
  id_text: string;
  id_mm: number;
  od_mm: number;
  od_memory: boolean;
  cuffed: boolean;
  trachea_mm: number | null;
  larynx: DrawnPlace;
  inlet: DrawnPlace;
  tip: DrawnPlace;
  cuff_top: DrawnPlace;
  cuff_bottom: DrawnPlace;
  side_hole: DrawnPlace;
  has_side_hole: boolean;
  uncut_end: DrawnPlace;
  stylet_tip: DrawnPlace;
  fork_low_mm: number | null;
  fork_high_mm: number | null;
  questions: string[];
}

export interface DrawnPlace {
  at_mm: number | null;
  how: "measured" | "memory" | "not known" | "predicted";
}

export interface BreathingPlan {
  circuit: string;
  why: string;
  systems: SystemReason[];
  bands: FlowBand[];
  apart: string;
  least_flow: Num | null;
  wash_in: WashIn[];
  agent: AgentLine[];
  agent_note: string;
  waste: string[];
  supply: string;
  drive_gas: Num | null;
  oxygen_reserve: number | null;
  ventilator: VentilatorCard | null;
  bag: Num | null;
  fresh_gas: [string, Num][];
  oxygen_minutes: Num | null;
  oxygen_litres: Num | null;
  oxygen_gauge: number | null;
  case_minutes: number | null;
  oxygen_enough: boolean | null;
  refusal: Refused | null;
  cautions: string[];
}

export interface SystemReason {
  name: string;
  serves: boolean;
  first: boolean;
  says: string;
}

export interface FlowBand {
  phase: string;
  set: Num;
  at: number;
  top: number;
  opinions: FlowOpinion[];
}

export interface FlowOpinion {
  source: string;
  says: string;
  text: string;
  low: number | null;
  high: number | null;
  measured: boolean;
  memory: boolean;
  cited: Cited[];
}

export interface WashIn {
  share: string;
  at_most: Num;
  measured: Num;
}

export interface AgentLine {
  agent: string;
  phase: string;
  dial: string;
  each: boolean;
  liquid: Num;
  rule: string;
  cost: string;
}

export interface VentilatorCard {
  lean: Num;
  basis: string;
  starts: VentilatorStart[];
  alarms: AlarmLine[];
  now: string;
  now_at: string | null;
  judged: string[];
  compliance: Num | null;
  co2: string;
  changes: Change[];
}

export interface VentilatorStart {
  mode: "pressure" | "volume";
  tidal: Num | null;
  rate: Num | null;
  inspiration: Num | null;
  ratio: string;
  peep: Num | null;
  peak: Num | null;
  set_pressure: Num | null;
  minute_volume: Num | null;
  cautions: string[];
  refusal: Refused | null;
}

export interface AlarmLine {
  name: string;
  value: Num;
  says: string;
}

export interface Change {
  change: string;
  paco2: Num;
}

export interface FluidPlan {
  rate: Num | null;
  bolus: Num | null;
  bolus_limit: Num | null;
  blood_volume: Num | null;
  allowable_loss: Num | null;
  notes: string[];
}

export interface LimitRow {
  reading: string;
  text: string;
  low: number | null;
  high: number | null;
  unit: string;
  action: string;
  whose: string;
  memory: boolean;
  cited: Cited[];
}

export interface Budget {
  id: string;
  title: string;
  warn_percent: number;
  planned: Part[];
  given: Part[];
  percent: number;
  text: string;
  working: WorkingShape | null;
  state: "ask" | "room" | "stop" | "warn";
  running: Part[];
  left: BudgetLeft[];
  exempt: string[];
  expired: string[];
  memory: boolean;
}

export interface BudgetLeft {
  drug: string;
  name: string;
  strength: string;
  amount: Num;
  volume: Num | null;
}

export interface BagRecipe {
  bag: string;
  fluid: string;
  fluid_name: string;
  holds: Num;
  remove: Num | null;
  parts: BagPartShape[];
  total: Num;
  rate: Num;
  lasts: Num | null;
  label: string;
  cautions: string[];
  holds_ml: number;
  remove_ml: number;
  total_ml: number;
  rate_ml_h: number;
  mixed: boolean;
  drops: DropRate[];
  no_drops: string;
  working: WorkingShape | null;
  refusal: Refused | null;
}

export interface BagPartShape {
  order: string;
  drug: string;
  name: string;
  syringe_class: "anticholinergic" | "hypnotic" | "induction" | "local" | "opioid" | "other" | "relaxant" | "vasopressor";
  controlled: string;
  vial: string;
  add: Num;
  add_ml: number;
  amount: Num;
  strength: string;
  gives: Num;
  error_percent: number;
  memory: boolean;
}

export interface PrepareSheet {
  lists: CheckList[];
  to_draw: DrugLine[];
  drawn: DrawnSyringe[];
  premedication: GivenLine[];
  sedation: Num | null;
  premedicated_at: string | null;
  preoxygenation_from: string | null;
  preoxygenation_ended: boolean;
  catheter: string;
  machine: string;
  oxygen_left: OxygenNow | null;
}

export interface CheckList {
  list: "machine" | "patient" | "recovery" | "sign-in" | "time-out";
  title: string;
  lines: ListLine[];
  done: number;
  of: number;
}

export interface ListLine {
  id: string;
  says: string;
  detail: string;
  state: "ahead" | "done" | "fault" | "now" | "skipped";
  at: string | null;
  by: string;
  note: string;
}

export interface DrawnSyringe {
  syringe: string;
  event_id: string;
  order: string;
  drug: string;
  name: string;
  syringe_class: "anticholinergic" | "hypnotic" | "induction" | "local" | "opioid" | "other" | "relaxant" | "vasopressor";
  reversal: boolean;
  controlled: string;
  concentration: string;
  barrel: string;
  mark_ml: number;
  holds_ml: number;
  drawn: Num;
  left: Num;
  left_ml: number;
  drawn_by: string;
  seen_by: string;
  at: string;
  lot: string;
  expires: string;
  route: string;
  purpose: string;
  planned_ml: number | null;
  estimated: boolean;
  void: string;
  speak: string;
  ladder: Ladder | null;
  last_given: string;
  due: boolean;
  diluted: string;
  at_push: AtPush | null;
  hub: string;
  scale: string;
  ran: Num | null;
}

export interface GivenLine {
  event_id: string;
  at: string;
  drug: string;
  name: string;
  amount_text: string;
  volume_text: string;
  per_kg_text: string;
  route: string;
  by: string;
  phase: string;
  struck: boolean;
  note: string;
}

export interface OxygenNow {
  source: "concentrator" | "cylinder" | "pipeline";
  name: string;
  read_at: string;
  by: string;
  gauge: string;
  litres: Num | null;
  minutes: Num | null;
  part: number | null;
  read_part: number | null;
  reserve: number | null;
  flow: string;
  reserve_at: string | null;
  empty_at: string | null;
  planned_left: number | null;
  enough: boolean | null;
  short: boolean;
  question: string;
  notes: string[];
  refusal: Refused | null;
  counted: boolean;
}

export interface InduceSheet {
  agents: ToEffect[];
  attempts: Attempt[];
  attempt_limit: number;
  limit_s: number;
  spo2_floor: number;
  next_steps: string[];
  tubes: TubeShape[];
  placed: Proof | null;
  placed_text: string;
  breaths: number;
  breaths_needed: number;
  proofs: Proof[];
  lacking: string[];
  proven_at: string | null;
  proven_by: string;
  cuff: Num | null;
  cuff_band: string;
  cuff_volume: Num | null;
  leak: Num | null;
  leak_band: string;
  cuff_recheck: string | null;
  larynx: LarynxWait | null;
  tube_in_place: boolean;
  secure_lacking: string[];
  plan_b: string;
  sizes: SizeKey[];
  extubated_at: string | null;
}

export interface ToEffect {
  syringe: string;
  order: string;
  drug: string;
  name: string;
  syringe_class: "anticholinergic" | "hypnotic" | "induction" | "local" | "opioid" | "other" | "relaxant" | "vasopressor";
  strength: string;
  route: string;
  total: Num;
  total_amount: Num;
  total_volume: Num;
  left: Num;
  bar: ZoneBar;
  blocks: number[];
  push: Push | null;
  half: Push | null;
  ladder: Ladder | null;
  last_at: string | null;
  pushes: number;
  gap_s: number;
  level: Level | null;
  pace: Pace | null;
  state: "empty" | "order reached" | "over hard stop" | "ready";
  state_text: string;
  call: string;
}

export interface Push {
  volume_ml: number;
  volume_text: string;
  amount: number;
  unit: string;
  amount_text: string;
  per_kg_text: string;
  then_text: string;
}

export interface Level {
  drug: string;
  name: string;
  sums: string;
  none: string;
  says: string;
  population: string;
  quality: string;
  site: string;
  unit: string;
  begin_at: string | null;
  step_s: number;
  low: number[];
  middle: number[];
  high: number[];
  top: number;
  as_of: string | null;
  now_text: string;
  pushes: string[];
  peak_text: string;
  peak_from: string | null;
  peak_at: string | null;
  peak_to: string | null;
  next: NextPush | null;
  marks: EffectMark[];
  unplaced: string[];
  plateau_text: string;
  half_text: string;
  falls: Fall[];
  cautions: string[];
  memory: boolean;
  working: WorkingShape | null;
}

export interface NextPush {
  text: string;
  low: number[];
  high: number[];
}

export interface EffectMark {
  text: string;
  low: number;
  high: number;
  level_text: string;
  memory: boolean;
  cited: Cited[];
}

export interface Fall {
  text: string;
  minutes_text: string;
  from_at: string | null;
  to_at: string | null;
  memory: boolean;
}

export interface Pace {
  text: string;
  advice: string;
  faster: boolean;
  next_at: string | null;
  memory: boolean;
  cited: Cited[];
}

export interface Attempt {
  attempt: string;
  number: number;
  began_at: string;
  ended_at: string | null;
  outcome: string;
  tube: string;
  operator: string;
  view: string;
  changed: string;
  aids: string[];
  blade: string;
  seconds: number | null;
  lowest_spo2: string;
  came_out: string;
  came_out_at: string | null;
}

export interface Proof {
  sign: string;
  label: string;
  expected: string;
  seen_at: string | null;
  by: string;
  detail: string;
  event_id: string;
  part: string;
}

export interface LarynxWait {
  text: string;
  given_at: string;
  ready_at: string;
  why: string;
  cited: Cited[];
}

export interface SizeKey {
  id_text: string;
  id_mm: number;
  od_mm: number | null;
  cuffed: boolean;
  stocked: boolean;
}

export interface MaintainSheet {
  ribbon: Vital[];
  chart: Chart;
  row_at: string | null;
  row_lines: PadLine[];
  row_filled: [string, string, string][];
  running: Running[];
  vaporiser: Num | null;
  vaporiser_agent: string;
  oxygen: Num | null;
  other_gas: string;
  other_l_min: Num | null;
  oxygen_left: OxygenNow | null;
  ventilator: VentilatorCard | null;
  expected: boolean;
  levels: Level[];
  inhaled: Inhaled | null;
  mac: MacNow | null;
  budgets: Budget[];
  fluids_in: Num | null;
  losses: Num | null;
  troubles: Trouble[];
}

export interface Vital {
  reading: string;
  title: string;
  unit: string;
  limit: string;
  value: Num | null;
  extra: string;
  foot: string;
  priority: "high" | "low" | "medium" | null;
  stale_after_s: number;
}

export interface Chart {
  from_at: string;
  to_at: string;
  every_min: number;
  low: number;
  high: number;
  rate: ChartPoint[];
  pressures: ChartPressure[];
  rows: ChartRow[];
  bands: ChartBand[];
  given: ChartMark[];
  events: ChartMark[];
  gaps: ChartGap[];
  limits: LimitRow[];
}

export interface ChartPoint {
  event_id: string;
  at: string;
  value: number;
  text: string;
  mark: "measured" | "predicted" | "table" | "typed" | "worked";
  by: string;
  struck: boolean;
  artefact: boolean;
  late: boolean;
  recorded_at: string;
}

export interface ChartPressure {
  event_id: string;
  at: string;
  sap: number | null;
  map: number | null;
  dap: number | null;
  method: string;
  text: string;
  mark: "measured" | "predicted" | "table" | "typed" | "worked";
  by: string;
  struck: boolean;
  artefact: boolean;
  late: boolean;
  recorded_at: string;
}

export interface ChartRow {
  reading: string;
  title: string;
  unit: string;
  points: ChartPoint[];
}

export interface ChartBand {
  id: string;
  title: string;
  kind: "fluid" | "gas" | "infusion" | "vaporiser" | "warming";
  parts: BandPart[];
  total_text: string;
  running: boolean;
}

export interface BandPart {
  event_id: string;
  from_at: string;
  to_at: string | null;
  text: string;
}

export interface ChartMark {
  event_id: string;
  at: string;
  text: string;
  detail: string;
  number: number | null;
  struck: boolean;
}

export interface ChartGap {
  from_at: string;
  to_at: string;
  text: string;
}

export interface PadLine {
  id: string;
  title: string;
  unit: string;
  choices: string[];
  last: string;
  low: number | null;
  high: number | null;
  ask_low: number | null;
  ask_high: number | null;
  places: number;
}

export interface Running {
  infusion: string;
  drug: string;
  name: string;
  syringe_class: "anticholinergic" | "hypnotic" | "induction" | "local" | "opioid" | "other" | "relaxant" | "vasopressor";
  fluid: boolean;
  rate: Num;
  dose_rate: Num | null;
  since: string;
  total: Num | null;
  ends_at: string | null;
  over_order: string;
  card: InfusionCard | null;
  bag: string;
  parts: InfusionCard[];
}

export interface Inhaled {
  agent: string;
  name: string;
  none: string;
  says: string;
  unit: string;
  begin_at: string | null;
  step_s: number;
  dial: number[];
  inspired: number[];
  low: number[];
  middle: number[];
  high: number[];
  top: number;
  as_of: string | null;
  now_text: string;
  measured: MacPoint[];
  lines: GasLine[];
  cautions: string[];
  memory: boolean;
  working: WorkingShape | null;
}

export interface MacPoint {
  at: string;
  text: string;
  low: number;
  high: number;
  mark: "measured" | "predicted" | "table" | "typed" | "worked";
}

export interface GasLine {
  text: string;
  minutes_text: string;
}

export interface MacNow {
  agent: string;
  range_text: string;
  multiple: Num | null;
  parts: MacPart[];
  not_counted: string[];
  trend: MacPoint[];
  says: string;
  memory: boolean;
  cited: Cited[];
}

export interface MacPart {
  text: string;
  change: string;
  memory: boolean;
  cited: Cited[];
}

export interface Trouble {
  trouble: string;
  kind: string;
  seen: string;
  from_at: string;
  to_at: string | null;
  treatment: string[];
  response: string;
}

export interface RecoverSheet {
  extubation: Criterion[];
  extubated_at: string | null;
  watcher: string;
  place: string;
  every_min: number | null;
  last_look: string | null;
  next_look: string | null;
  overdue: boolean;
  looks: Look[];
  milestones: ([string, string | null])[];
  reversals: DrugLine[];
  analgesia: string;
  next_analgesia: string | null;
  handover: [string, string][];
  handed_to: string;
  handed_at: string | null;
  discharge: string;
  outcome: string;
  outcome_due: string | null;
  packs_in: number;
  packs_out: number;
}

export interface Criterion {
  id: string;
  title: string;
  met: boolean | null;
  detail: string;
  hard: boolean;
}

export interface Look {
  event_id: string;
  at: string;
  by: string;
  text: string;
  not_right: boolean;
  struck: boolean;
}

export interface EmergencySheet {
  sheet_id: string;
  species: string;
  weight: Num;
  weight_kg: number;
  estimated: boolean;
  drugs: EmergencyDrug[];
  shocks: EmergencyDrug[];
  pumps: EmergencyDrug[];
  breath: Num;
  rate_text: string;
  cycle_s: number;
  beat_per_min: number;
  breath_every_s: number;
  etco2_aim: string;
  steps: string[];
  notes: string[];
  cautions: string[];
  void_prints: string[];
  cited: Cited[];
  arrest_began: string | null;
  arrest_ended: string | null;
  arrest_outcome: string;
  leader: string;
  log: LogLine[];
}

export interface EmergencyDrug {
  drug: string;
  name: string;
  syringe_class: "anticholinergic" | "hypnotic" | "induction" | "local" | "opioid" | "other" | "relaxant" | "vasopressor";
  what_for: string;
  when: string;
  strength: string;
  route: string;
  dose_text: string;
  volume: Num | null;
  volume_ml: number | null;
  amount: number | null;
  unit: string;
  amount_text: string;
  note: string;
  memory: boolean;
  once: boolean;
  every_min: [number, number] | null;
  given: string[];
  refusal: Refused | null;
  group: "arrest" | "other" | "reversal" | "shock";
  undoes: string;
}

export interface LogLine {
  event_id: string;
  seq: number;
  kind: string;
  at: string;
  recorded_at: string;
  late_min: number;
  by: string;
  mark: "measured" | "predicted" | "table" | "typed" | "worked";
  text: string;
  struck: boolean;
  struck_at: string | null;
  struck_by: string;
  struck_reason: string;
  artefact: boolean;
  strikeable: boolean;
}

export interface RecordSheet {
  gaps: RecordGap[];
  log: LogLine[];
  balances: DrugBalance[];
  signatures: Signature[];
  drug_totals: [string, string, string][];
  amendments: LogLine[];
  given: GivenLine[];
  differences: OrderDifference[];
  protocol: string;
  can_sign: boolean;
  pages_hint: number;
}

export interface RecordGap {
  element: string;
  title: string;
  explained: string;
  phase: "assess" | "induce" | "maintain" | "plan" | "prepare" | "record" | "recover";
}

export interface DrugBalance {
  syringe: string;
  name: string;
  concentration: string;
  drawn: string;
  given: string;
  wasted: string;
  returned: string;
  left: string;
  left_ml: number;
  closed: boolean;
}

export interface Signature {
  role: string;
  by: string;
  at: string;
}

export interface OrderDifference {
  order: string;
  name: string;
  ordered: string;
  given: string;
  difference: string;
  why: string;
}

export interface Board {
  as_of: string;
  now: BoardLine[];
  to_come: BoardLine[];
  ended: BoardLine[];
}

export interface BoardLine {
  case: string;
  room: string;
  name: string;
  about: string;
  procedure: string;
  state: string;
  asks: string;
  asks_priority: "high" | "low" | "medium" | null;
  hand: string;
  planned_at: string | null;
  lane: LanePart[];
  last: Num[];
  estimated: boolean;
  draft: boolean;
  weight_text: string;
  asa: string;
  ended: boolean;
}

export interface LanePart {
  kind: "asleep" | "expected" | "sedated" | "waking";
  from_at: string;
  to_at: string | null;
}

export interface Hospital {
  name: string;
  practice: boolean;
  staff: Hand[];
  rooms: string[];
  machines: string[];
  circuits: string[];
  scales: string[];
  monitors: string[];
  conditions: [string, string][];
  agents: string[];
  fluids: string[];
  pain_scales: [string, number][];
  trouble_kinds: string[];
  emergency_weights: Record<string, number[]>;
  cautions: string[];
  version: string;
  tables: string;
  ledger: string;
  label_paper: string;
  bags: [string, string[]][];
  breathing_bags: [string, string][];
  cylinders: CylinderAtHand[];
}

export interface Hand {
  id: string;
  initials: string;
  name: string;
  role: "assistant" | "controlled-drug officer" | "head of anaesthesia" | "student" | "technician" | "veterinarian";
}

export interface CylinderAtHand {
  name: string;
  contents_l: string;
  full: string;
}

export interface PickRow {
  row: string;
  drug: string;
  name: string;
  syringe_class: "anticholinergic" | "hypnotic" | "induction" | "local" | "opioid" | "other" | "relaxant" | "vasopressor";
  purpose: string;
  route: string;
  usual_text: string;
  low: number;
  high: number;
  hard: number | null;
  unit: string;
  default: boolean;
  memory: boolean;
  infusion: boolean;
  conditions: string[];
  note: string;
  strengths: string[];
  cited: Cited[];
  controlled: string;
  also: string[];
  give: string;
  onset: string;
  lasts: string;
  repeat: string;
  ask: string[];
  stops: string[];
  pick_why: string;
  forms: string[];
}

export interface Answers {
  answers: Answer[];
  seq: number;
}

export interface Answer {
  id: string;
  written: boolean;
  seq: number | null;
  refused: Refused | null;
}

export interface ProtocolsSheet {
  ledger: string;
  seq: number;
  protocols: ProtocolShape[];
}

export interface ProtocolShape {
  protocol: string;
  version: number;
  title: string;
  species: string;
  lines: ProtocolShapeLine[];
  limits: string[];
  conditions: string[];
  unless: string[];
  note: string;
  written_by: string;
  written_at: string;
  approved_by: string;
  approved_at: string | null;
  state: "in use" | "replaced" | "retired" | "waiting";
  changes: string[];
  event_id: string;
}

export interface ProtocolShapeLine {
  drug: string;
  name: string;
  syringe_class: "anticholinergic" | "hypnotic" | "induction" | "local" | "opioid" | "other" | "relaxant" | "vasopressor";
  text: string;
  when: string;
  note: string;
  optional: boolean;
  memory: boolean;
  refusal: Refused | null;
}

export interface ProtocolOffers {
  case: string;
  offers: ProtocolOffer[];
}

export interface ProtocolOffer {
  protocol: string;
  version: number;
  title: string;
  note: string;
  written_by: string;
  approved_by: string;
  why_not: string;
  lines: ProtocolOfferLine[];
  limit_texts: string[];
  start: Record<string, string | number | boolean | null>;
  limits: (Record<string, string | number | boolean | null>)[];
}

export interface ProtocolOfferLine {
  line: DrugLine;
  optional: boolean;
  note: string;
  order: Record<string, string | number | boolean | null>;
}

export interface ProtocolDraft {
  protocol: string;
  version: number;
  title: string;
  species: string;
  lines: ProtocolDraftLine[];
  limits: ProtocolDraftLimit[];
  conditions: string[];
  unless: string[];
  note: string;
}

export interface ProtocolDraftLine {
  drug: string;
  purpose: string;
  route: string;
  low: number;
  high: number;
  unit: string;
  row: string;
  when: string;
  note: string;
  optional: boolean;
}

export interface ProtocolDraftLimit {
  reading: string;
  below: number | null;
  above: number | null;
  action: string;
}

export interface EarlierHere {
  chip: string;
  found: Earlier[];
}

export interface Earlier {
  case: string;
  at: string;
  when: string;
  tube_id: string;
  tube_outcome: string;
  full_grown: boolean | null;
  airway: string;
  trouble: string;
}

export interface MachinesSheet {
  ledger: string;
  seq: number;
  day: string;
  at_low: number;
  at_high: number;
  machines: MachineDay[];
}

export interface MachineDay {
  machine: string;
  complete: boolean;
  done: number;
  of: number;
  very_fast: number;
  says: string;
  asks: string[];
  lines: MachineLine[];
  leak: MachineLeak | null;
  faults: MachineFault[];
  mended: MachineMended[];
  volume_l: number | null;
  wall_ml_cmh2o: number | null;
}

export interface MachineLine {
  id: string;
  says: string;
  detail: string;
  state: "ahead" | "done" | "fault" | "now" | "skipped";
  at: string | null;
  by: string;
  note: string;
  fast: boolean;
}

export interface MachineLeak {
  event_id: string;
  at: string;
  when: string;
  by: string;
  today: boolean;
  way: "fall" | "flow";
  read: string;
  leak: Num | null;
  leak_ml_min: number | null;
  at_cmh2o: number;
  verdict: "" | "fault" | "not known" | "passes" | "sources differ";
  says: string;
  limits: MachineLimit[];
  cautions: string[];
  refusal: Refused | null;
}

export interface MachineLimit {
  most: number;
  at: number;
  text: string;
  says: string;
  keeps: boolean | null;
  memory: boolean;
  cited: Cited[];
}

export interface MachineFault {
  fault: string;
  event_id: string;
  what: string;
  at: string;
  by: string;
}

export interface MachineMended {
  what: string;
  how: string;
  at: string;
  by: string;
}

export interface Scanned {
  kind: "bag" | "infusion" | "syringe";
  id: string;
  case: string;
  patient: string;
  event_id: string;
  name: string;
  state: "empty" | "expired" | "given back" | "stands" | "stopped" | "struck" | "thrown away" | "void";
  says: string;
  may_give: boolean;
  why_not: string;
  left: Num | null;
  parts: ScannedPart[];
}

export interface ScannedPart {
  drug: string;
  name: string;
  strength: string;
  order: string;
  at_push: AtPush | null;
}

export interface OwnInductions {
  first_day: string;
  last_day: string;
  asked_from: string;
  asked_to: string;
  counted: number;
  left_out: number;
  practice: boolean;
  fewest: number;
  says: string[];
  groups: OwnGroup[];
  left: OwnLeft[];
}

export interface OwnGroup {
  species: string;
  agent: string;
  name: string;
  premedication: string;
  beside: string;
  title: string;
  n: number;
  parts: OwnPart[];
  published: OwnPublished[];
}

export interface OwnPart {
  asa: string;
  n: number;
  few: boolean;
  says: string;
  doses: OwnFigure[];
  median: OwnFigure | null;
  interval: OwnRange | null;
  spread: OwnRange | null;
  mean: OwnFigure | null;
  mean_interval: OwnRange | null;
  next_range: OwnRange | null;
  next_logs: OwnRange | null;
  minutes: OwnFigure | null;
  minutes_interval: OwnRange | null;
  pushes: OwnFigure | null;
  pushes_range: OwnRange | null;
}

export interface OwnFigure {
  text: string;
  value: Decimal;
  unit: string;
  ucum: string;
  working: string;
  predicted: boolean;
}

export interface OwnRange {
  low: OwnFigure;
  high: OwnFigure;
  says: string;
}

export interface OwnPublished {
  says: string;
  low: OwnFigure;
  high: OwnFigure;
  memory: boolean;
  cited: Cited[];
}

export interface OwnLeft {
  reason: string;
  n: number;
}

export interface LiveState {
  case: string;
  as_of: string;
  link: "held back" | "live" | "lost" | "no monitor" | "replay" | "stale" | "waiting";
  link_text: string;
  monitor: string;
  monitor_name: string;
  place: string;
  paired_at: string | null;
  skew_text: string;
  practice: boolean;
  held_back: string;
  waves: LiveWave[];
  numbers: LiveNumber[];
  pressure: LivePressure | null;
  findings: LiveFinding[];
  breath_text: string;
  airway: AirwayOffer | null;
  candidates: Candidate[];
  unknown: string[];
  dials: string[];
  replay_from: string | null;
  replay_until: string | null;
  replay_speed: number;
  replay_at: string | null;
}

export interface LiveWave {
  wave: "co2" | "pleth" | "pressure";
  label: string;
  unit: string;
  rate_hz: number;
  scale: number;
  offset: number;
  low: number;
  high: number;
  device: string;
}

export interface LiveNumber {
  reading: string;
  label: string;
  state: "gap" | "good" | "questionable";
  text: string;
  value: Decimal | null;
  unit: string;
  raw: string;
  monitor: string;
  quality: "" | "good" | "invalid" | "questionable";
  site: string;
  method: string;
  at: string | null;
  why: string;
  limits: string;
  alarm: string;
}

export interface LivePressure {
  sap: Decimal | null;
  map: Decimal | null;
  dap: Decimal | null;
  method: "Doppler" | "arterial line" | "oscillometric" | "other";
  state: "gap" | "good" | "questionable";
  quality: "" | "good" | "invalid" | "questionable";
  monitor: string;
  raw: string;
  text: string;
  at: string | null;
  site: string;
  why: string;
}

export interface LiveFinding {
  name: string;
  title: string;
  why: string;
  degree: "mild" | "moderate" | "severe";
  priority: "high" | "low" | "medium" | null;
  since: string;
  until: string | null;
  measured: string[];
  checks: LiveCheck[];
  causes: string[];
}

export interface LiveCheck {
  text: string;
  source: string;
  memory: boolean;
}

export interface AirwayOffer {
  side: "counting" | "doubt" | "proof";
  breaths: number;
  needed: number;
  text: string;
  since: string;
}

export interface Candidate {
  monitor: string;
  name: string;
  place: string;
  patient: string;
  heard_at: string;
  showing: string;
  taken_by: string;
  why_not: string;
}

export interface WaveChunk {
  wave: "co2" | "pleth" | "pressure";
  first: number;
  at_ms: number;
  samples: (number | null)[];
}

export interface LiveBreath {
  start_ms: number;
  end_ms: number;
  etco2: number;
  fico2: number | null;
  text: string;
  doubtful: boolean;
}

export interface ProtocolLine {
  drug: string;
  purpose: string;
  route: string;
  low: Decimal;
  high: Decimal;
  unit: string;
  row: string;
  when: string;
  note: string;
  optional: boolean;
}

export interface ProtocolLimit {
  reading: string;
  below: Decimal | null;
  above: Decimal | null;
  action: string;
}

export interface BagPart {
  drug: string;
  vial_concentration: string;
  drug_volume_ml: Decimal;
  order: string;
  lot: string;
  expires: string;
}

export interface CaseOpened {
  event: "CaseOpened";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  species: "cat" | "dog";
  kind?: "elective" | "emergency";
  name?: string;
  practice?: boolean;
  room?: string;
  number?: string;
  planned_at?: string | null;
}

export interface PatientDescribed {
  event: "PatientDescribed";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  name?: string;
  breed?: string;
  sex?: string;
  born?: string;
  age?: string;
  chip?: string;
  description?: string;
}

export interface OwnerNamed {
  event: "OwnerNamed";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  name: string;
  phone?: string;
  address?: string;
}

export interface Weighed {
  event: "Weighed";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  weight_kg: Decimal;
  method: "earlier visit" | "estimated" | "owner" | "scale";
  scale?: string;
  confirmed?: boolean;
  answered?: string[];
}

export interface BodyConditionScored {
  event: "BodyConditionScored";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  score: number;
}

export interface DosingWeightSet {
  event: "DosingWeightSet";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  weight_kg: Decimal;
  reason: string;
}

export interface ConsentRecorded {
  event: "ConsentRecorded";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  procedure: string;
  consent: "not obtained" | "oral" | "written";
  resuscitation?: "closed chest" | "full" | "none" | "not asked" | "open chest";
}

export interface FastingNoted {
  event: "FastingNoted";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  food_at?: string | null;
  water_at?: string | null;
  note?: string;
}

export interface HistoryTaken {
  event: "HistoryTaken";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  problem?: string;
  history?: string;
  conditions?: string[];
}

export interface MedicineNoted {
  event: "MedicineNoted";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  medicine: string;
  dose?: string;
  last_at?: string | null;
  decision?: "given" | "not decided" | "stop" | "watch";
}

export interface AllergiesAsked {
  event: "AllergiesAsked";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  allergies?: string[];
  reaction?: string;
}

export interface PreviousAnaesthesiaNoted {
  event: "PreviousAnaesthesiaNoted";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  when?: string;
  tube_id_mm?: Decimal | null;
  tube_outcome?: "" | "leaked" | "served" | "tight";
  full_grown?: boolean | null;
  airway?: string;
  trouble?: string;
}

export interface TemperamentNoted {
  event: "TemperamentNoted";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  temperament: string;
  home_sedation?: string;
}

export interface Examined {
  event: "Examined";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  temperature_c?: Decimal | null;
  heart_rate?: number | null;
  respiratory_rate?: number | null;
  membranes?: string;
  refill_s?: Decimal | null;
  heart?: string;
  lungs?: string;
  airway?: string;
  note?: string;
}

export interface ResultNoted {
  event: "ResultNoted";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  test: string;
  value: string;
  unit?: string;
  taken_at?: string | null;
}

export interface AsaAssigned {
  event: "AsaAssigned";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  asa: "I" | "II" | "III" | "IV" | "V";
  emergency?: boolean;
  assigned_by?: string;
}

export interface PainScored {
  event: "PainScored";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  scale: string;
  score: Decimal;
  out_of: Decimal;
  phase?: "assess" | "induce" | "maintain" | "plan" | "prepare" | "record" | "recover";
}

export interface SedationScored {
  event: "SedationScored";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  scale: string;
  score: Decimal;
  out_of: Decimal;
  phase?: "assess" | "induce" | "maintain" | "plan" | "prepare" | "record" | "recover";
}

export interface RiskNoted {
  event: "RiskNoted";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  risk: string;
  plan?: string;
}

export interface LimitOrdered {
  event: "LimitOrdered";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  reading: string;
  below?: Decimal | null;
  above?: Decimal | null;
  action?: string;
  order?: string;
  ordered_by?: string;
}

export interface ProcedurePlanned {
  event: "ProcedurePlanned";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  procedure: string;
  minutes?: number | null;
  side?: string;
  room?: string;
}

export interface PersonJoined {
  event: "PersonJoined";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  person: string;
  part: "anaesthetist" | "assistant" | "relief" | "student" | "supervising veterinarian" | "surgeon";
}

export interface PersonLeft {
  event: "PersonLeft";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  person: string;
}

export interface DrugOrdered {
  event: "DrugOrdered";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  order: string;
  drug: string;
  purpose: string;
  route: string;
  low: Decimal;
  high: Decimal;
  unit: string;
  row?: string;
  concentration?: string;
  when?: string;
  given_as?: "oral" | "written";
  ordered_by?: string;
  read_back_by?: string;
  over_hard_by?: string;
  reason?: string;
  protocol?: string;
}

export interface OrderWithdrawn {
  event: "OrderWithdrawn";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  order: string;
  reason?: string;
}

export interface ProtocolWritten {
  event: "ProtocolWritten";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  protocol: string;
  version: number;
  title: string;
  species: "cat" | "dog";
  lines: ProtocolLine[];
  limits?: ProtocolLimit[];
  conditions?: string[];
  unless?: string[];
  note?: string;
}

export interface ProtocolApproved {
  event: "ProtocolApproved";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  protocol: string;
  version: number;
  note?: string;
}

export interface ProtocolRetired {
  event: "ProtocolRetired";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  protocol: string;
  reason: string;
}

export interface ProtocolStarted {
  event: "ProtocolStarted";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  protocol: string;
  version: number;
  title: string;
  left_out?: string[];
  said_by?: string;
  reason?: string;
}

export interface AirwayMeasured {
  event: "AirwayMeasured";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  incisors_to_inlet_cm?: Decimal | null;
  tracheal_diameter_mm?: Decimal | null;
  tube_id_mm?: Decimal | null;
  incisors_to_larynx_cm?: Decimal | null;
  ultrasound_diameter_mm?: Decimal | null;
  palpated_diameter_mm?: Decimal | null;
  septum_width_mm?: Decimal | null;
  occiput_to_tail_cm?: Decimal | null;
  trachea_to_inlet?: Decimal | null;
}

export interface PlanSent {
  event: "PlanSent";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  to: string;
}

export interface PlanApproved {
  event: "PlanApproved";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  signed_by: string;
  how?: "oral" | "signed";
  read_back_by?: string;
  weight_kg: Decimal;
  asa?: string;
  orders?: string[];
  strengths?: string[];
}

export interface CheckLineDone {
  event: "CheckLineDone";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  list: "machine" | "patient" | "recovery" | "sign-in" | "time-out";
  line: string;
  outcome?: "done" | "fault" | "skipped";
  detail?: string;
  spoken_by?: string;
  seconds_shown?: Decimal | null;
}

export interface MachineAssigned {
  event: "MachineAssigned";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  machine: string;
  circuit?: string;
  bag_ml?: number | null;
  reason?: string;
  confirmed?: boolean;
  answered?: string[];
}

export interface OxygenRead {
  event: "OxygenRead";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  source: "concentrator" | "cylinder" | "pipeline";
  contents_l?: Decimal | null;
  full_pressure?: string;
  gauge?: string;
  cylinder?: string;
  drive_l_min?: Decimal | null;
  max_l_min?: Decimal | null;
  percent?: Decimal | null;
  use?: "" | "in use" | "standing by";
  confirmed?: boolean;
  answered?: string[];
}

export interface MachineLineDone {
  event: "MachineLineDone";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  machine: string;
  line: string;
  outcome?: "done" | "fault" | "skipped";
  detail?: string;
  seconds_shown?: Decimal | null;
}

export interface MachineLeakTested {
  event: "MachineLeakTested";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  machine: string;
  circuit?: string;
  at_cmh2o: Decimal;
  flow_ml_min?: Decimal | null;
  to_cmh2o?: Decimal | null;
  seconds?: Decimal | null;
  volume_l?: Decimal | null;
  bag_on?: boolean | null;
  wall_ml_cmh2o?: Decimal | null;
}

export interface MachineFaultFound {
  event: "MachineFaultFound";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  fault: string;
  machine: string;
  what: string;
}

export interface MachineFaultMended {
  event: "MachineFaultMended";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  fault: string;
  how: string;
}

export interface MonitorsApplied {
  event: "MonitorsApplied";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  monitors: string[];
}

export interface CatheterPlaced {
  event: "CatheterPlaced";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  site: string;
  size: string;
  line?: "artery" | "bone" | "vein";
  patent?: boolean;
  attempts?: number;
}

export interface VialPicked {
  event: "VialPicked";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  order: string;
  drug: string;
  concentration: string;
  lot?: string;
  expires?: string;
  form?: string;
  opened?: string;
}

export interface SyringeDrawn {
  event: "SyringeDrawn";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  syringe: string;
  order?: string;
  drug: string;
  vial_concentration: string;
  concentration: string;
  volume_ml: Decimal;
  drug_volume_ml: Decimal;
  diluent?: string;
  diluent_volume_ml?: Decimal;
  barrel?: string;
  lot?: string;
  expires?: string;
  seen_by?: string;
  form?: string;
  confirmed?: boolean;
  answered?: string[];
  said_by?: string;
  reason?: string;
  opened?: string;
}

export interface BagMixed {
  event: "BagMixed";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  bag: string;
  fluid: string;
  bag_ml: Decimal;
  removed_ml?: Decimal;
  volume_ml: Decimal;
  parts: BagPart[];
  seen_by?: string;
  confirmed?: boolean;
  answered?: string[];
  said_by?: string;
  reason?: string;
}

export interface GivenBefore {
  event: "GivenBefore";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  drug: string;
  amount: Decimal;
  unit: string;
  route: string;
  given_at: string;
  where?: string;
  by_whom?: string;
}

export interface DrugGiven {
  event: "DrugGiven";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  drug: string;
  amount: Decimal;
  unit: string;
  volume_ml?: Decimal | null;
  concentration?: string;
  route: string;
  site?: string;
  side?: string;
  purpose?: string;
  order?: string;
  syringe?: string;
  giver?: string;
  emergency?: boolean;
  said_by?: string;
  reason?: string;
  confirmed?: boolean;
  answered?: string[];
  form?: string;
}

export interface InfusionStarted {
  event: "InfusionStarted";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  infusion: string;
  drug: string;
  rate_ml_h: Decimal;
  concentration?: string;
  dose_rate?: Decimal | null;
  dose_unit?: string;
  bag_ml?: Decimal | null;
  route?: string;
  order?: string;
  fluid?: boolean;
  syringe?: string;
  bag?: string;
  purpose?: string;
  said_by?: string;
  reason?: string;
  confirmed?: boolean;
  answered?: string[];
}

export interface InfusionChanged {
  event: "InfusionChanged";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  infusion: string;
  rate_ml_h: Decimal;
  dose_rate?: Decimal | null;
  dose_unit?: string;
  reason?: string;
  said_by?: string;
  confirmed?: boolean;
  answered?: string[];
}

export interface InfusionStopped {
  event: "InfusionStopped";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  infusion: string;
  total_ml?: Decimal | null;
  confirmed?: boolean;
  answered?: string[];
}

export interface FluidGiven {
  event: "FluidGiven";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  fluid: string;
  volume_ml: Decimal;
  minutes?: number | null;
  order?: string;
  said_by?: string;
  reason?: string;
  bag?: string;
  confirmed?: boolean;
  answered?: string[];
}

export interface FluidLost {
  event: "FluidLost";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  kind: string;
  volume_ml: Decimal;
  judged?: string;
}

export interface DrugWasted {
  event: "DrugWasted";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  syringe?: string;
  drug: string;
  volume_ml: Decimal;
  manner?: string;
  witness?: string;
}

export interface DrugReturned {
  event: "DrugReturned";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  syringe?: string;
  drug: string;
  volume_ml: Decimal;
  to?: string;
}

export interface ContainerReceived {
  event: "ContainerReceived";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  drug: string;
  form: string;
  containers: number;
  volume_ml_each: Decimal;
  concentration: string;
  supplier?: string;
  supplier_registration?: string;
  lot?: string;
  expires?: string;
}

export interface StockCounted {
  event: "StockCounted";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  drug: string;
  volume_ml: Decimal;
  second_person: string;
  note?: string;
}

export interface EffectNoted {
  event: "EffectNoted";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  of: "induction" | "premedication" | "recovery";
  quality: string;
  adverse?: string;
}

export interface PreoxygenationBegan {
  event: "PreoxygenationBegan";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  way?: string;
  flow_l_min?: Decimal | null;
}

export interface PreoxygenationEnded {
  event: "PreoxygenationEnded";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
}

export interface AttemptBegan {
  event: "AttemptBegan";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  attempt: string;
  tube_id_mm: Decimal;
  operator?: string;
  blade?: string;
  aids?: string[];
  changed?: "" | "aid" | "blade" | "lidocaine" | "operator" | "position" | "size";
  confirmed?: boolean;
  answered?: string[];
}

export interface AttemptEnded {
  event: "AttemptEnded";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  attempt: string;
  outcome: "in" | "oesophagus" | "out";
  view?: string;
  difficulty?: string;
  lowest_spo2?: Decimal | null;
}

export interface TubePlaced {
  event: "TubePlaced";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  kind?: string;
  id_mm: Decimal;
  od_mm?: Decimal | null;
  cuffed: boolean;
  cut_length_cm?: Decimal | null;
  depth_cm?: Decimal | null;
  attempt?: string;
  confirmed?: boolean;
  answered?: string[];
}

export interface TubeWithdrawn {
  event: "TubeWithdrawn";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  reason: "blocked" | "leak" | "slipped out" | "tight" | "too deep" | "wrong place";
  leak_cmh2o?: Decimal | null;
  note?: string;
}

export interface ProofNoted {
  event: "ProofNoted";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  sign: "bag moves" | "chest moves" | "co2" | "depth" | "direct view" | "left chest" | "mist" | "oxygen flows" | "palpation" | "right chest" | "stylet out" | "tied" | "valve open";
  seen?: boolean;
  breaths?: number | null;
  detail?: string;
  depth_cm?: Decimal | null;
  confirmed?: boolean;
  answered?: string[];
}

export interface AirwayProven {
  event: "AirwayProven";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  method: string;
  second_person?: string;
}

export interface CuffChecked {
  event: "CuffChecked";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  pressure_cmh2o?: Decimal | null;
  pressure_mmhg?: Decimal | null;
  volume_ml?: Decimal | null;
  leak_cmh2o?: Decimal | null;
  confirmed?: boolean;
  answered?: string[];
  reason?: string;
}

export interface ReadingTaken {
  event: "ReadingTaken";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  reading: "agent_et" | "agent_in" | "dap" | "etco2" | "fico2" | "fio2" | "glucose" | "heart_rate" | "map" | "peak_pressure" | "peep" | "perfusion_index" | "pulse_rate" | "respiratory_rate" | "sap" | "spo2" | "temperature" | "tidal_volume" | "train_of_four";
  value: Decimal;
  unit: string;
  source?: "device" | "hand";
  monitor?: string;
  raw?: string;
  quality?: "" | "good" | "invalid" | "questionable";
  site?: string;
  method?: string;
  row_at?: string | null;
  confirmed?: boolean;
  answered?: string[];
}

export interface PressureTaken {
  event: "PressureTaken";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  sap?: Decimal | null;
  map?: Decimal | null;
  dap?: Decimal | null;
  method: "Doppler" | "arterial line" | "oscillometric" | "other";
  site?: string;
  cuff_cm?: Decimal | null;
  source?: "device" | "hand";
  monitor?: string;
  raw?: string;
  quality?: "" | "good" | "invalid" | "questionable";
  row_at?: string | null;
  confirmed?: boolean;
  answered?: string[];
}

export interface MonitorPaired {
  event: "MonitorPaired";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  monitor: string;
  name?: string;
  place?: string;
  patient?: string;
  seen: "alone in the room" | "patient named by it" | "probe off and on" | "pulse felt with it";
  confirmed?: boolean;
  answered?: string[];
}

export interface MonitorUnpaired {
  event: "MonitorUnpaired";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  monitor: string;
  reason: "another patient on it" | "case over" | "changed for another" | "mistake" | "moved";
}

export interface SignSeen {
  event: "SignSeen";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  sign: "block" | "effort" | "eye" | "gums" | "jaw" | "movement" | "palpebral" | "pulse" | "refill" | "rhythm";
  finding: string;
  row_at?: string | null;
}

export interface GasSet {
  event: "GasSet";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  oxygen_l_min: Decimal;
  other?: string;
  other_l_min?: Decimal | null;
  confirmed?: boolean;
  answered?: string[];
}

export interface VaporiserSet {
  event: "VaporiserSet";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  agent: string;
  percent: Decimal;
}

export interface VentilationSet {
  event: "VentilationSet";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  mode: "assisted by hand" | "spontaneous" | "ventilator";
  rate?: number | null;
  tidal_ml?: Decimal | null;
  peak_cmh2o?: Decimal | null;
  peep_cmh2o?: Decimal | null;
  held_by?: "" | "pressure" | "volume";
  inspiration_s?: Decimal | null;
  reason?: string;
  confirmed?: boolean;
  answered?: string[];
}

export interface WarmingSet {
  event: "WarmingSet";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  device_used: string;
  setting?: string;
}

export interface SampleAnalysed {
  event: "SampleAnalysed";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  kind: string;
  results: [string, string, string][];
}

export interface ArtefactMarked {
  event: "ArtefactMarked";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  target: string;
  reason?: string;
}

export interface TimeMarked {
  event: "TimeMarked";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  mark: "agent off" | "extubated" | "induction" | "intubated" | "moved" | "packs in" | "packs out" | "premedicated" | "procedure end" | "procedure start" | "recovery end" | "standing" | "sternal";
  detail?: string;
}

export interface Positioned {
  event: "Positioned";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  position: string;
  disconnected_first?: boolean | null;
  eyes_lubricated?: boolean;
  pads?: string;
  to_room?: string;
}

export interface TroubleBegan {
  event: "TroubleBegan";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  trouble: string;
  kind: string;
  seen?: string;
}

export interface TroubleTreated {
  event: "TroubleTreated";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  trouble: string;
  action: string;
  order?: string;
}

export interface TroubleEnded {
  event: "TroubleEnded";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  trouble: string;
  response?: string;
}

export interface HelpCalled {
  event: "HelpCalled";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  whom: string;
  why?: string;
}

export interface HelpArrived {
  event: "HelpArrived";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  whom: string;
}

export interface ArrestBegan {
  event: "ArrestBegan";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  leader?: string;
  first_rhythm?: string;
}

export interface ArrestStepDone {
  event: "ArrestStepDone";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  step: "agent off" | "airway" | "compressor" | "etco2" | "other" | "rhythm" | "shock";
  detail?: string;
  joules?: Decimal | null;
}

export interface ArrestEnded {
  event: "ArrestEnded";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  outcome: "pulse back" | "stopped";
  detail?: string;
}

export interface Extubated {
  event: "Extubated";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  signs?: string[];
  cuff?: string;
  complications?: string;
  open_lines?: string[];
  reason?: string;
}

export interface RecoveryWatchBegan {
  event: "RecoveryWatchBegan";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  watcher: string;
  every_min: number;
  place?: string;
}

export interface RecoveryLooked {
  event: "RecoveryLooked";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  heart_rate?: number | null;
  respiratory_rate?: number | null;
  spo2?: Decimal | null;
  gums?: string;
  temperature_c?: Decimal | null;
  state?: "" | "asleep" | "rousing" | "standing" | "sternal";
  oxygen?: string;
  note?: string;
  not_right?: boolean;
}

export interface AnalgesiaPlanned {
  event: "AnalgesiaPlanned";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  plan: string;
  next_due?: string | null;
}

export interface HandedOver {
  event: "HandedOver";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  to: string;
  read_back: boolean;
  items?: string[];
  concerns?: string;
}

export interface Discharged {
  event: "Discharged";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  disposition: string;
  instructions?: string;
}

export interface OutcomeNoted {
  event: "OutcomeNoted";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  outcome: "complication" | "died" | "not reached" | "put to sleep" | "well";
  detail?: string;
}

export interface NoteWritten {
  event: "NoteWritten";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  text: string;
}

export interface EntryStruck {
  event: "EntryStruck";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  target: string;
  reason: string;
  seen_by?: string;
}

export interface GapExplained {
  event: "GapExplained";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  element: string;
  reason: string;
}

export interface SheetPrinted {
  event: "SheetPrinted";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  sheet: "emergency" | "handover" | "infusions" | "labels" | "plan" | "record";
  print_id: string;
  weight_kg?: Decimal | null;
}

export interface RecordSigned {
  event: "RecordSigned";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  role: "technician" | "veterinarian";
  statement?: string;
  amendments?: number;
}

export interface RecordAmended {
  event: "RecordAmended";
  id: string;
  case: string;
  happened_at: string;
  recorded_at: string;
  by: string;
  device?: string;
  text: string;
  reason: string;
  target?: string;
}

export type AnyEvent =
  | AirwayMeasured
  | AirwayProven
  | AllergiesAsked
  | AnalgesiaPlanned
  | ArrestBegan
  | ArrestEnded
  | ArrestStepDone
  | ArtefactMarked
  | AsaAssigned
  | AttemptBegan
  | AttemptEnded
  | BagMixed
  | BodyConditionScored
  | CaseOpened
  | CatheterPlaced
  | CheckLineDone
  | ConsentRecorded
  | ContainerReceived
  | CuffChecked
  | Discharged
  | DosingWeightSet
  | DrugGiven
  | DrugOrdered
  | DrugReturned
  | DrugWasted
  | EffectNoted
  | EntryStruck
  | Examined
  | Extubated
  | FastingNoted
  | FluidGiven
  | FluidLost
  | GapExplained
  | GasSet
  | GivenBefore
  | HandedOver
  | HelpArrived
  | HelpCalled
  | HistoryTaken
  | InfusionChanged
  | InfusionStarted
  | InfusionStopped
  | LimitOrdered
  | MachineAssigned
  | MachineFaultFound
  | MachineFaultMended
  | MachineLeakTested
  | MachineLineDone
  | MedicineNoted
  | MonitorPaired
  | MonitorUnpaired
  | MonitorsApplied
  | NoteWritten
  | OrderWithdrawn
  | OutcomeNoted
  | OwnerNamed
  | OxygenRead
  | PainScored
  | PatientDescribed
  | PersonJoined
  | PersonLeft
  | PlanApproved
  | PlanSent
  | Positioned
  | PreoxygenationBegan
  | PreoxygenationEnded
  | PressureTaken
  | PreviousAnaesthesiaNoted
  | ProcedurePlanned
  | ProofNoted
  | ProtocolApproved
  | ProtocolRetired
  | ProtocolStarted
  | ProtocolWritten
  | ReadingTaken
  | RecordAmended
  | RecordSigned
  | RecoveryLooked
  | RecoveryWatchBegan
  | ResultNoted
  | RiskNoted
  | SampleAnalysed
  | SedationScored
  | SheetPrinted
  | SignSeen
  | StockCounted
  | SyringeDrawn
  | TemperamentNoted
  | TimeMarked
  | TroubleBegan
  | TroubleEnded
  | TroubleTreated
  | TubePlaced
  | TubeWithdrawn
  | VaporiserSet
  | VentilationSet
  | VialPicked
  | WarmingSet
  | Weighed;

export type EventName = AnyEvent["event"];
export type EventOf<N extends EventName> = Extract<AnyEvent, { event: N }>;
export type Stamped = "event" | "id" | "case" | "happened_at" | "recorded_at" | "by" | "device";
export type Fields<N extends EventName> = Omit<EventOf<N>, Stamped>;
