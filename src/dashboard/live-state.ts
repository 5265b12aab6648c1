import type {
  HelloDocument,
  LiveDocument,
  RejectedDocument,
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
    default:
      // A kind that a later service may send.
      return state;
  }
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
  // Newest first by the time of the release: that is when the early numbers came.
  const next = before ? shots.with(at, document) : [document, ...shots];
  return next.slice(0, keptShotCount);
}

function withSensor(sensors: readonly WireSensor[], sensor: WireSensor): readonly WireSensor[] {
  const at = sensors.findIndex((known) => known.sensorId === sensor.sensorId);
  return at < 0 ? [...sensors, sensor] : sensors.with(at, sensor);
}

function higher(since: number | null, seq: number): number {
  return since === null ? seq : Math.max(since, seq);
}
