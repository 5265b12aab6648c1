import { type AeroPreset, aeroPreset, type BallPreset, ballPresets } from '../../flight/ball-presets.ts';
import type { ImuBlock, SensorTraits } from '../../foundation/imu-block.ts';
import { WorkUnderWay } from '../../foundation/resting-work.ts';
import type { BallSettings, Preparation, RejectedFlight, ShotEvent } from '../shot.ts';
import {
  type FlightContext,
  type FlightOutcome,
  judgeRun,
  type Rejection,
  type StudiedFlight,
  studyRun,
} from './ball-shot.ts';
import { type BallCalibration, initialCalibration } from './calibration.ts';
import { analyseForceOnlyFlight } from './force-only.ts';
import { initialQuietRunState, type QuietRun, quietRunParameters, stepQuietRun } from './quiet-runs.ts';
import { RestLearner } from './rest-learner.ts';
import { SampleHistory } from './sample-history.ts';

export const ballTrackerParameters = {
  /** s; history that stays reachable: the longest way before a shot, its flight and its aftermath. */
  historyS: 12,
  /** s; flights shorter than this are no shots. */
  shortestShotS: 0.33,
  /** s; shorter flights are not even told as rejected: every dribble would be. */
  shortestToldS: 0.3,
  /** s; no throw stays up longer (it would rise above 7 m): a ball that rolls or hangs still is no flight. */
  longestShotS: 2.5,
  /** s after the flight's start: what the first estimate looks at, and when it is told. */
  earlySeenS: 0.23,
  earlyS: 0.27,
  /** s after the flight's end until it is studied: what tells the instant of the touch has come by then. */
  touchS: 0.12,
  /** s after the flight's end until it is judged: whether the ball is free again tells a ring from a hand. */
  settleS: 0.3,
} as const;

/** The study of a flight, under way from the samples on that it looks at. */
interface OpenStudy {
  readonly run: QuietRun;
  readonly work: WorkUnderWay<StudiedFlight | Rejection>;
  readonly dueS: number;
}

/** A finished run that waits for its judgement. */
interface Pending {
  readonly run: QuietRun;
  readonly startS: number;
  readonly endS: number;
  study: OpenStudy | null;
}

/**
 * Streaming analyser of one ball sensor: samples in, shots out. Any split of the input gives the same events.
 *
 * An early estimate comes about 0.27 s after release, the final shot 0.3 s after the first contact. Nearly all of either can be
 * worked out before, while the samples in between come: by `preparation`, or else when the time has come.
 */
export class BallTracker {
  private readonly settings: BallSettings;
  private readonly firstEstimates: boolean;
  private readonly filterDelayS: number;
  private readonly ball: BallPreset;
  private readonly aero: AeroPreset;
  private readonly stepS: number;
  private readonly back: number;
  private readonly quiet = initialQuietRunState();
  private readonly nominalRateHz: number;
  private history: SampleHistory | null = null;
  private calibrationNow: BallCalibration = initialCalibration();
  private readonly rest = new RestLearner();
  private runs: QuietRun[] = [];
  private pending: Pending[] = [];
  /** Study of the open run for its first estimate. */
  private early: OpenStudy | null = null;
  private earlyFor = -1;
  /** Start of the run of which a first estimate was told: it must have its end, however short it turns out. */
  private earlyTold = -1;
  private lastS = Number.NaN;
  private count = 0;

  /**
   * @param traits what is known of the sensor.
   * @param settings ball, hoop and spot.
   * @param firstEstimates whether early estimates are told: of a recording nobody waits for them, and they are a fifth of the work.
   * @throws RangeError when the nominal rate is not between 20 and 5,000 Hz.
   */
  constructor(traits: SensorTraits, settings: BallSettings, firstEstimates = true) {
    if (!(traits.nominalRateHz >= 20 && traits.nominalRateHz <= 5000)) {
      throw new RangeError(`nominalRateHz = ${traits.nominalRateHz} Hz is outside 20..5000 Hz`);
    }
    this.settings = settings;
    this.firstEstimates = firstEstimates;
    this.filterDelayS = traits.filterDelayS;
    this.ball = ballPresets[settings.ballSize];
    this.aero = aeroPreset(this.ball);
    this.nominalRateHz = traits.nominalRateHz;
    this.stepS = 1 / traits.nominalRateHz;
    this.back = Math.max(1, Math.round(quietRunParameters.baselineS / this.stepS));
  }

  /** What has been learnt of ball and sensor so far. */
  get calibration(): BallCalibration {
    return this.calibrationNow;
  }

  /** Takes the next samples of the stream and returns the events they complete. */
  push(block: ImuBlock): ShotEvent[] {
    const events: ShotEvent[] = [];
    for (let i = 0; i < block.length; i++) this.step(block, i, events);
    return events;
  }

  /** @returns what may be worked out ahead of the samples that will ask for it, the most urgent first; null when there is nothing. */
  preparation(): Preparation | null {
    const open = [this.early, this.pending[0]?.study ?? null];
    const next = open.find((study) => study !== null && !study.work.done);
    return next ? { dueInS: next.dueS - this.lastS, work: () => next.work.advance() } : null;
  }

  /** Says that no more samples come: what is still open is judged by what there is. */
  finish(): ShotEvent[] {
    const events: ShotEvent[] = [];
    if (!this.history) return events;
    if (this.quiet.open >= 0) {
      this.takeRun({ start: this.quiet.open, end: this.quiet.last + 1 });
      this.quiet.open = -1;
    }
    this.early = null;
    for (const pending of this.pending.splice(0)) this.judge(pending, events);
    this.history.held = false;
    return events;
  }

  private step(block: ImuBlock, i: number, events: ShotEvent[]): void {
    if (!this.history) {
      const keep = Math.ceil(ballTrackerParameters.historyS * this.nominalRateHz);
      this.history = new SampleHistory(keep, block.gyroRadps !== null);
    }
    const { history } = this;
    history.push(block, i);
    const number = history.total - 1;
    const index = number - history.oldest;
    const columns = history.columns;
    const timeS = columns.timeS[index] as number;
    const run = stepQuietRun(this.quiet, columns, index, number, this.back);
    if (run) this.takeRun(run);
    if (columns.gyroRadps) this.learnRest(columns, index);
    this.lastS = timeS;
    const { settleS, touchS } = ballTrackerParameters;
    while (this.pending[0] && timeS >= this.pending[0].endS + settleS) {
      this.judge(this.pending.shift() as Pending, events);
    }
    // One after the other: each knows what the one before has taught.
    const [next] = this.pending;
    if (next && next.study === null && timeS >= next.endS + touchS && history.hasGyro && mayBeShot(next)) {
      next.study = this.openStudy(next.run, 'final', next.endS + settleS);
    }
    if (this.firstEstimates) this.stepEarly(timeS, events);
    history.held = this.early !== null || (this.pending[0]?.study ?? null) !== null;
  }

  private learnRest(columns: ImuBlock, index: number): void {
    this.calibrationNow = this.rest.step(columns, index, this.calibrationNow);
  }

  private takeRun(run: QuietRun): void {
    const history = this.history as SampleHistory;
    const columns = history.columns;
    const from = Math.max(run.start, history.oldest) - history.oldest;
    const startS = columns.timeS[from] as number;
    const endS = columns.timeS[run.end - 1 - history.oldest] as number;
    if (endS - startS < quietRunParameters.shortestRunS) return;
    this.runs.push(run);
    if (endS - startS >= ballTrackerParameters.shortestToldS || this.earlyTold === run.start) {
      this.pending.push({ run, startS, endS, study: null });
    }
    const horizon = endS - ballTrackerParameters.historyS;
    this.runs = this.runs.filter(
      (r) => r.start >= history.oldest && (columns.timeS[r.start - history.oldest] as number) > horizon,
    );
  }

  private stepEarly(timeS: number, events: ShotEvent[]): void {
    const { open } = this.quiet;
    const history = this.history as SampleHistory;
    const { earlySeenS, earlyS } = ballTrackerParameters;
    // A run that ended meanwhile has its final result soon.
    if (this.early && this.early.run.start !== open) this.early = null;
    if (open < 0 || !history.hasGyro) return;
    const startS = history.columns.timeS[open - history.oldest] as number;
    if (this.earlyFor !== open && timeS - startS >= earlySeenS) {
      this.earlyFor = open;
      this.early = this.openStudy({ start: open, end: history.total }, 'early', startS + earlyS);
    }
    if (!this.early || timeS < this.early.dueS) return;
    const outcome = this.conclude(this.early);
    this.early = null;
    if (outcome.kind !== 'shot' || outcome.shot.releaseS === null) return;
    this.earlyTold = open;
    events.push({ kind: 'shot', shot: outcome.shot });
  }

  private judge({ run, startS, endS, study }: Pending, events: ShotEvent[]): void {
    const { shortestShotS, longestShotS, settleS } = ballTrackerParameters;
    const reject = (kind: RejectedFlight['kind'], reason: string): void => {
      const rejected = { startS: startS - this.filterDelayS, endS: endS - this.filterDelayS, kind, reason };
      events.push({ kind: 'rejected', rejected });
    };
    const lastsS = endS - startS;
    if (lastsS < shortestShotS) {
      reject('dribble', `free for ${lastsS.toFixed(2)} s, a shot flies at least ${shortestShotS} s`);
      return;
    }
    if (lastsS > longestShotS) {
      reject('not-flight', `even motion for ${lastsS.toFixed(1)} s, no throw flies longer than ${longestShotS} s`);
      return;
    }
    const history = this.history as SampleHistory;
    const outcome = history.hasGyro
      ? this.conclude(study ?? this.openStudy(run, 'final', endS + settleS))
      : analyseForceOnlyFlight(this.context(run, 'final'), this.count);
    this.calibrationNow = outcome.calibration;
    if (outcome.kind === 'shot') {
      this.count++;
      events.push({ kind: 'shot', shot: outcome.shot });
    } else events.push({ kind: 'rejected', rejected: outcome.rejected });
  }

  private openStudy(run: QuietRun, stage: 'early' | 'final', dueS: number): OpenStudy {
    return { run, dueS, work: new WorkUnderWay(studyRun(this.context(run, stage))) };
  }

  /** Tells what a study found, in the light of all samples since. */
  private conclude({ work }: OpenStudy): FlightOutcome {
    const studied = work.result();
    const history = this.history as SampleHistory;
    return studied.kind === 'flown' ? judgeRun(studied, history.view(), this.count) : studied;
  }

  private context(run: QuietRun, stage: 'early' | 'final'): FlightContext {
    const history = this.history as SampleHistory;
    const base = history.oldest;
    const local = (r: QuietRun): QuietRun => ({ start: r.start - base, end: r.end - base });
    return {
      block: history.view(),
      stepS: this.stepS,
      filterDelayS: this.filterDelayS,
      ball: this.ball,
      aero: this.aero,
      settings: this.settings,
      calibration: this.calibrationNow,
      before: this.runs.filter((r) => r.end <= run.start && r.start >= base).map(local),
      run: local(run),
      stage,
    };
  }
}

function mayBeShot({ startS, endS }: Pending): boolean {
  const { shortestShotS, longestShotS } = ballTrackerParameters;
  return endS - startS >= shortestShotS && endS - startS <= longestShotS;
}
