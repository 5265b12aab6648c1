import Type from 'typebox';
import type { Frozen } from './frozen.ts';

/**
 * What the routes of coaching answer with: findings, targets, drills, prescriptions with their proof, load, a session looked at as a
 * whole, and studies. Instants are seconds since the Unix epoch; numbers of a measure are in the measure's own unit, which
 * stands in its name. Sentences are English and for reading, never to be taken apart: a page in another language makes its own of the names
 * and numbers beside them.
 */

const orNull = <Schema extends Type.TSchema>(schema: Schema) => Type.Union([schema, Type.Null()]);
const instant = Type.Number({ description: 'seconds since the Unix epoch' });
const id = Type.String();
const number = Type.Number();
const interval = Type.Tuple([number, number]);
const text = Type.String();
const texts = Type.Array(text);

export const placeSchema = Type.Enum(['ball', 'forearm', 'back-of-hand']);

const point = Type.Tuple([number, number]);

/** A picture as plain data, y downward, to be drawn in the colour of the text around it. */
export const drillPictureSchema = Type.Object({
  width: number,
  height: number,
  inWords: text,
  shapes: Type.Array(
    Type.Union([
      Type.Object({
        kind: Type.Literal('line'),
        points: Type.Array(point),
        weight: Type.Enum(['body', 'thing', 'faint']),
      }),
      Type.Object({ kind: Type.Literal('arrow'), points: Type.Array(point), head: Type.Array(point) }),
      Type.Object({ kind: Type.Literal('circle'), at: point, radius: number, what: Type.Enum(['head', 'ball']) }),
      Type.Object({ kind: Type.Literal('label'), at: point, text }),
    ]),
  ),
});
export type WireDrillPicture = Frozen<Type.Static<typeof drillPictureSchema>>;

export const drillSchema = Type.Object({
  /** Of the library, or the id of a coach's own one. */
  name: text,
  title: text,
  own: Type.Boolean(),
  forFaults: texts,
  purpose: text,
  setUp: text,
  steps: texts,
  dose: Type.Object({ sets: Type.Integer(), shotsASet: Type.Integer(), daysAWeek: Type.Integer() }),
  progressions: texts,
  fromAge: number,
  cautions: texts,
  moves: Type.Object({ measure: text, side: Type.Enum(['less', 'more']), by: number }),
  source: text,
  /** Of the drills of the library; a coach's own ones have none. */
  picture: Type.Optional(drillPictureSchema),
});
export type WireDrill = Frozen<Type.Static<typeof drillSchema>>;

/** Drills, and the faults that a drill can be for, in words. */
export const drillsSchema = Type.Object({
  drills: Type.Array(drillSchema),
  faults: Type.Array(Type.Object({ name: text, title: text })),
});
export type WireDrills = Frozen<Type.Static<typeof drillsSchema>>;

export const findingPartSchema = Type.Object({
  measure: text,
  kind: Type.Enum(['level', 'contrast', 'drift']),
  group: orNull(Type.Enum(['from-hold', 'far'])),
  side: Type.Enum(['above', 'below', 'either']),
  shots: Type.Integer(),
  estimate: orNull(number),
  /** Holds at every look at once. */
  interval95: orNull(interval),
  /** Beyond these it is a fault, the sensor's common error put on top. */
  low: orNull(number),
  high: orNull(number),
  evidence: number,
});

/** One fault as the rules see it so far. */
export const findingSchema = Type.Object({
  name: text,
  /** `named`: the evidence has reached the border, and the fault stays named in this practice; `signs`: half of the way there; `nothing` yet. */
  state: Type.Enum(['named', 'signs', 'nothing']),
  namedAtShot: orNull(Type.Integer()),
  evidence: number,
  border: number,
  title: text,
  saw: texts,
  confidence: text,
  seenBy: texts,
  notSeenBy: texts,
  otherExplanations: texts,
  source: text,
  parts: Type.Array(findingPartSchema),
  /** Names of drills for it that suit the player's age, own ones of the coach first. */
  drills: texts,
});
export type WireFinding = Frozen<Type.Static<typeof findingSchema>>;

/** What is seen of a player in one practice. */
export const playerCoachingSchema = Type.Object({
  playerId: id,
  /** Null where the player has not shot in any. */
  sessionId: orNull(id),
  shots: Type.Integer(),
  /** Where the sensors sat that saw these shots. */
  places: Type.Array(placeSchema),
  stage: Type.Object({ name: text, fromAge: number, inWords: text, source: text }),
  /** Named ones first, by their evidence. Empty under ten: nothing is called a fault there. */
  findings: Type.Array(findingSchema),
  /** Where what is seen has to be told apart: under ten, without bands of one's own, with numbers that cannot be. */
  notes: texts,
});
export type WirePlayerCoaching = Frozen<Type.Static<typeof playerCoachingSchema>>;

export const bandSchema = Type.Object({
  measure: text,
  target: orNull(number),
  low: orNull(number),
  high: orNull(number),
  from: Type.Enum(['own-best-sets', 'coach', 'default']),
  source: text,
});
export const targetsSchema = Type.Object({
  playerId: id,
  bands: Type.Array(bandSchema),
  /** Sets that were called the best. */
  bestSetIds: Type.Array(id),
});
export type WireTargets = Frozen<Type.Static<typeof targetsSchema>>;

/** A set that a player shot, to choose the best ones from. */
export const playerSetSchema = Type.Object({
  id,
  sessionId: id,
  kind: text,
  name: text,
  spot: text,
  distanceM: orNull(number),
  startedS: instant,
  shots: Type.Integer(),
  /** Of the player's shots that were counted one by one, else the total that was noted; null where nobody counted. */
  made: orNull(Type.Object({ makes: Type.Integer(), attempts: Type.Integer() })),
});
export type WirePlayerSet = Frozen<Type.Static<typeof playerSetSchema>>;

export const blockSchema = Type.Object({
  id,
  setId: id,
  role: Type.Enum(['baseline', 'drill', 'retest', 'retention']),
  startedS: instant,
  endedS: orNull(instant),
  shots: Type.Integer(),
  /** Shots in which the measure is known. */
  measured: Type.Integer(),
  /** Mean of the measure and its standard error from shot to shot; null with fewer than two. */
  mean: orNull(number),
  standardError: orNull(number),
});
export type WireBlock = Frozen<Type.Static<typeof blockSchema>>;

const verdictWord = Type.Enum(['changed', 'not-changed', 'worse', 'not-enough']);

export const verdictSchema = Type.Object({
  verdict: verdictWord,
  /** The verdict in a sentence. */
  sentence: text,
  change: orNull(number),
  interval: orNull(interval),
  matters: Type.Enum(['yes', 'no', 'open']),
  looks: Type.Integer(),
  daysToNextLook: orNull(Type.Integer()),
  decidedAtLook: orNull(Type.Integer()),
  baselineDays: Type.Integer(),
  retestDays: Type.Integer(),
  daySd: orNull(number),
  shotSd: orNull(number),
  sensorError: orNull(number),
  minimalDetectableChange95: orNull(number),
  /** Why blocks or the proof do not count yet, as sentences. */
  notes: texts,
});
export type WireVerdict = Frozen<Type.Static<typeof verdictSchema>>;

export const planSchema = Type.Object({
  audience: Type.Enum(['coach', 'coach-and-player']),
  /** Null where nothing that is left would settle it. */
  weeks: orNull(Type.Integer()),
  sentence: text,
  /** The caution of load that stands beside it. */
  caution: text,
});

export const retentionSchema = Type.Object({
  state: Type.Enum(['kept', 'lost', 'not-enough', 'not-due']),
  daysWithout: orNull(Type.Integer()),
  sentence: text,
  verdict: orNull(verdictSchema),
});

export const prescriptionSchema = Type.Object({
  id,
  playerId: id,
  fault: text,
  drill: drillSchema,
  measure: text,
  faultSide: Type.Union([Type.Literal(1), Type.Literal(-1)]),
  smallestChange: number,
  madeS: instant,
  /** When the fault was named: what was shot until then is no baseline. */
  namedS: instant,
  retentionDueS: orNull(instant),
  endedS: orNull(instant),
  notes: text,
  blocks: Type.Array(blockSchema),
  /** Null where it is withheld from who asks. */
  verdict: orNull(verdictSchema),
  plan: orNull(planSchema),
  retention: orNull(retentionSchema),
  /** Why the verdict is withheld: of players under fourteen it is the coach's to tell. */
  withheld: orNull(text),
});
export type WirePrescription = Frozen<Type.Static<typeof prescriptionSchema>>;

export const loadDaySchema = Type.Object({
  /** Local date, YYYY-MM-DD. */
  date: text,
  shots: Type.Integer(),
  minutes: number,
  /** Shots and minutes that were told by hand, part of the above. */
  shotsByHand: Type.Integer(),
  minutesByHand: number,
});
export const loadSchema = Type.Object({
  playerId: id,
  /** Last days with shots, oldest first. */
  days: Type.Array(loadDaySchema),
  weeks: Type.Array(Type.Object({ monday: text, shots: Type.Integer(), minutes: number, days: Type.Integer() })),
  shotsToday: Type.Integer(),
  shots7Days: Type.Integer(),
  shots7DaysBefore: Type.Integer(),
  minutes7Days: number,
  days7: Type.Integer(),
  /** No limit of shots is among them: none is known for basketball. */
  cautions: Type.Array(Type.Object({ code: text, text, source: text })),
});
export type WireLoad = Frozen<Type.Static<typeof loadSchema>>;

/** A practice of a player as a whole. */
export const sessionStudySchema = Type.Object({
  playerId: id,
  sessionId: id,
  shots: Type.Integer(),
  drift: Type.Array(
    Type.Object({
      measure: text,
      shots: Type.Integer(),
      direction: Type.Enum(['up', 'down', 'none-seen']),
      per50Shots: orNull(number),
      interval: orNull(interval),
      /** Why there is no slope. */
      reason: orNull(text),
      /** Shot, from 1, at which a chart against the usual level left its limits; null also where the level is not known. */
      firstSignal: orNull(Type.Integer()),
      sentence: text,
    }),
  ),
  consistency: Type.Array(
    Type.Object({
      measure: text,
      shots: Type.Integer(),
      /** The player's own spread, the sensor's error taken out; null with a reason. */
      spread: orNull(number),
      interval90: orNull(interval),
      measuredSpread: orNull(number),
      sensorError: orNull(number),
      reason: orNull(text),
    }),
  ),
  /** Directions of the lean of the spin axis as angles. */
  tilt: orNull(Type.Object({ shots: Type.Integer(), meanDeg: number, spreadDeg: number, resultant: number })),
  starts: Type.Array(
    Type.Object({
      measure: text,
      one: text,
      two: text,
      shots: Type.Tuple([Type.Integer(), Type.Integer()]),
      margin: number,
      answer: Type.Enum(['same', 'different', 'open']),
      difference: orNull(number),
      interval90: orNull(interval),
      sentence: text,
    }),
  ),
  /** Distance at which the shot becomes another one, from sets with told distances. */
  range: Type.Object({
    answer: Type.Enum(['break', 'no-break-seen', 'open']),
    measure: text,
    atM: orNull(number),
    intervalM: orNull(interval),
    p: orNull(number),
    shots: Type.Integer(),
    sentence: text,
  }),
});
export type WireSessionStudy = Frozen<Type.Static<typeof sessionStudySchema>>;

export const studySchema = Type.Object({
  id,
  name: text,
  /** Condition that is varied, such as footwork. */
  factor: text,
  /** Levels as they are to be shown: labels while the study is blinded. */
  conditions: texts,
  blinded: Type.Boolean(),
  /** Null while it is blinded. */
  levels: orNull(texts),
  shotsASet: Type.Integer(),
  rows: Type.Integer(),
  /** Who is compared with what by how much: margins by quantity within which two count as the same. */
  margins: Type.Record(Type.String(), number),
  measures: texts,
  playerIds: Type.Array(id),
  /** With it the order can be drawn again. */
  seed: text,
  /** For each day of each player the order of `conditions`, as places in it. */
  order: Type.Array(Type.Array(Type.Integer())),
  madeS: instant,
  closedS: orNull(instant),
  sets: Type.Array(Type.Object({ id, setId: id, playerId: orNull(id), row: Type.Integer(), place: Type.Integer() })),
});
export type WireStudy = Frozen<Type.Static<typeof studySchema>>;

export const studyResultSchema = Type.Object({
  studyId: id,
  /** Plain sentences, the answer first. */
  sentences: texts,
  makes: Type.Array(
    Type.Object({
      condition: text,
      sets: Type.Integer(),
      makes: Type.Integer(),
      attempts: Type.Integer(),
      score95: interval,
      exact95: interval,
    }),
  ),
  comparisons: Type.Array(
    Type.Object({
      /** `makes`, or a measure. */
      quantity: text,
      one: text,
      two: text,
      design: Type.Enum(['within-days', 'between-days']),
      units: Type.Integer(),
      difference: orNull(number),
      interval95: orNull(interval),
      p: orNull(number),
      adjustedP: orNull(number),
      sameWithin: orNull(number),
      answer: Type.Enum(['differ', 'same', 'differ-within-margin', 'open']),
      sentence: text,
    }),
  ),
  /** How it was reckoned, and what this study cannot answer. */
  methods: texts,
  cannotAnswer: texts,
});
export type WireStudyResult = Frozen<Type.Static<typeof studyResultSchema>>;
