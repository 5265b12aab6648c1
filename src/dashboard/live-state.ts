import type {
  HelloDocument,
  LiveDocument,
  RejectedDocument,
  RosterDocument,
  ShotDocument,
  WireSensor,
} from '../server/wire/live-document.ts';

/** What the page knows. */
export interface LiveState {
  /** Highest number of a document that came; the page asks for what lies above it. */
  readonly since: number | null;
  readonly hello: HelloDocument | null;
  /** Version of the service when the page was loaded. */
  readonly firstVersion: string | null;
  readonly sensors: readonly WireSensor[];
  /** Newest first, each shot once. */
  readonly shots: readonly ShotDocument[];
  readonly lastRejected: RejectedDocument | null;
  /** Players as far as this page may know them, by id. */
  readonly roster: ReadonlyMap<string, RosterDocument['players'][number]>;
  /** Number of the last change of each session, and under an empty name of what is of no session. */
  readonly changes: ReadonlyMap<string, number>;
  /** True once shots were made that this page can no longer get. */
  readonly incomplete: boolean;
}

export const emptyState: LiveState = {
  since: null,
  hello: null,
  firstVersion: null,
  sensors: [],
  shots: [],
  lastRejected: null,
  roster: new Map(),
  changes: new Map(),
  incomplete: false,
};

/** Shots that the page holds at most. */
const keptShotCount = 200;

/** @returns the state after one more document; the same object where nothing changes. */
export function applyDocument(state: LiveState, document: LiveDocument): LiveState {
  switch (document.kind) {
    case 'hello':
      return {
        ...state,
        hello: document,
        firstVersion: state.firstVersion ?? document.version,
        sensors: document.sensors,
        incomplete: state.incomplete || (document.catchUp === 'incomplete' && state.since !== null),
        // A service that does not know this page's number counts otherwise: its numbers are the ones that hold.
        since: document.catchUp === 'latest' ? null : state.since,
        shots: document.catchUp === 'latest' ? state.shots.map((shot) => ({ ...shot, seq: 0 })) : state.shots,
      };
    case 'sensor':
      return { ...state, sensors: withSensor(state.sensors, document.sensor) };
    case 'shot':
      return { ...state, since: higher(state.since, document.seq), shots: withShot(state.shots, document) };
    case 'rejected':
      return {
        ...state,
        since: higher(state.since, document.seq),
        shots: state.shots.filter((shot) => shot.shotId !== document.shotId),
        lastRejected: document,
      };
    case 'roster':
      return { ...state, roster: new Map(document.players.map((player) => [player.id, player])) };
    case 'change': {
      const changes = new Map(state.changes).set(document.sessionId ?? '', document.seq);
      return { ...state, since: higher(state.since, document.seq), changes };
    }
    default:
      // A kind that a later service may send.
      return state;
  }
}

/** @returns a number that rises with every change of a session, or of any where it is null. */
export function changeNumber({ changes }: LiveState, sessionId: string | null): number {
  if (sessionId === null) return Math.max(0, ...changes.values());
  return Math.max(changes.get('') ?? 0, changes.get(sessionId) ?? 0);
}

/** A ball that just landed flies again as a rebound, which the first estimate can take for a shot. */
const reboundS = 2;

/** @returns the shots to show, newest first: an early one right after a shot of the same ball waits until it is sure. */
export function shownShots(state: LiveState): readonly ShotDocument[] {
  return state.shots.filter(
    (early) =>
      early.shot.stage === 'final' ||
      !state.shots.some(
        (landed) =>
          landed.shot.stage === 'final' &&
          landed.sensorId === early.sensorId &&
          early.hostTimeS >= landed.hostTimeS &&
          early.hostTimeS - landed.hostTimeS < reboundS,
      ),
  );
}

/** An early shot of a run of the service that is over gets no final numbers any more. */
export function isUnfinished(state: LiveState, shot: ShotDocument): boolean {
  return shot.shot.stage === 'early' && state.hello !== null && shot.runId !== state.hello.runId;
}

function withShot(shots: readonly ShotDocument[], document: ShotDocument): readonly ShotDocument[] {
  const at = shots.findIndex((shot) => shot.shotId === document.shotId);
  const before = shots[at];
  if (before && before.seq >= document.seq) return shots;
  if (before) return shots.with(at, document);
  // Newest first by the time of the release, when the early numbers came: a shot that is told again keeps its place.
  const place = shots.findIndex((shot) => shot.at <= document.at);
  const next = place < 0 ? [...shots, document] : shots.toSpliced(place, 0, document);
  return next.slice(0, keptShotCount);
}

function withSensor(sensors: readonly WireSensor[], sensor: WireSensor): readonly WireSensor[] {
  const at = sensors.findIndex((known) => known.sensorId === sensor.sensorId);
  return at < 0 ? [...sensors, sensor] : sensors.with(at, sensor);
}

function higher(since: number | null, seq: number): number {
  return since === null ? seq : Math.max(since, seq);
}
