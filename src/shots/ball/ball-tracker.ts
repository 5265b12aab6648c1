import { type AeroPreset, aeroPreset, type BallPreset, ballPresets } from '../../flight/ball-presets.ts';
import type { ImuBlock, SensorTraits } from '../../foundation/imu-block.ts';
import type { BallSettings, RejectedFlight, ShotEvent } from '../shot.ts';
import { analyseFlight, type FlightOutcome } from './ball-shot.ts';
import { type BallCalibration, initialCalibration } from './calibration.ts';
import { analyseForceOnlyFlight } from './force-only.ts';
import { initialQuietRunState, type QuietRun, quietRunParameters, stepQuietRun } from './quiet-runs.ts';
import { RestLearner } from './rest-learner.ts';
import { SampleHistory } from './sample-history.ts';

export const ballTrackerParameters = {
  /** s; history that stays reachable: the longest way before a shot, its flight and its aftermath. */
  historyS: 12,
  /** s; flights shorter than this are no shots. */
  shortestShotS: 0.4,
  /** s; shorter flights are not even told as rejected: every dribble would be. */
  shortestToldS: 0.3,
  /** s; no throw stays up longer (it would rise above 7 m): a ball that rolls or hangs still is no flight. */
  longestShotS: 2.5,
  /** s after the flight's start for the first estimate. */
  earlyS: 0.25,
  /** s after the flight's end until it is judged: whether the ball is free again tells a ring from a hand. */
  settleS: 0.3,
} as const;

interface Pending {
  readonly run: QuietRun;
  readonly dueS: number;
}

/**
 * Streaming analyser of one ball sensor: samples in, shots out. Any split of the input gives the same events.
 *
 * An early estimate comes 0.25 s after release, the final shot 0.3 s after the first contact.
 */
export class BallTracker {
  private readonly settings: BallSettings;
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
  private earlyFor = -1;
  /** Start of the run of which a first estimate was told: it must have its end, however short it turns out. */
  private earlyTold = -1;
  private count = 0;

  /**
   * @param traits what is known of the sensor.
   * @param settings ball, hoop and spot.
   * @throws RangeError when the nominal rate is not between 20 and 5,000 Hz.
   */
  constructor(traits: SensorTraits, settings: BallSettings) {
    if (!(traits.nominalRateHz >= 20 && traits.nominalRateHz <= 5000)) {
      throw new RangeError(`nominalRateHz = ${traits.nominalRateHz} Hz is outside 20..5000 Hz`);
    }
    this.settings = settings;
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

  /** Says that no more samples come: what is still open is judged by what there is. */
  finish(): ShotEvent[] {
    const events: ShotEvent[] = [];
    if (!this.history) return events;
    if (this.quiet.open >= 0) {
      this.takeRun({ start: this.quiet.open, end: this.quiet.last + 1 });
      this.quiet.open = -1;
    }
    for (const pending of this.pending) this.judge(pending.run, events);
    this.pending = [];
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
    while (this.pending[0] && timeS >= this.pending[0].dueS) {
      const due = this.pending.shift() as Pending;
      this.judge(due.run, events);
    }
    this.maybeEarly(timeS, events);
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
      this.pending.push({ run, dueS: endS + ballTrackerParameters.settleS });
    }
    const horizon = endS - ballTrackerParameters.historyS;
    this.runs = this.runs.filter(
      (r) => r.start >= history.oldest && (columns.timeS[r.start - history.oldest] as number) > horizon,
    );
  }

  private maybeEarly(timeS: number, events: ShotEvent[]): void {
    const { open } = this.quiet;
    const history = this.history as SampleHistory;
    if (open < 0 || this.earlyFor === open || !history.hasGyro) return;
    const startS = history.columns.timeS[open - history.oldest] as number;
    if (timeS - startS < ballTrackerParameters.earlyS) return;
    this.earlyFor = open;
    const outcome = this.analyse({ start: open, end: history.total }, 'early');
    if (outcome.kind !== 'shot' || !promising(outcome)) return;
    this.earlyTold = open;
    events.push({ kind: 'shot', shot: outcome.shot });
  }

  private judge(run: QuietRun, events: ShotEvent[]): void {
    const history = this.history as SampleHistory;
    const columns = history.columns;
    // Only an even motion far longer than any flight can reach back past the history: it is told from there on.
    const startS = columns.timeS[Math.max(run.start, history.oldest) - history.oldest] as number;
    const endS = columns.timeS[run.end - 1 - history.oldest] as number;
    if (endS - startS < ballTrackerParameters.shortestShotS) {
      const rejected: RejectedFlight = {
        startS: startS - this.filterDelayS,
        endS: endS - this.filterDelayS,
        kind: 'dribble',
        reason: `free for ${(endS - startS).toFixed(2)} s, a shot flies at least ${ballTrackerParameters.shortestShotS} s`,
      };
      events.push({ kind: 'rejected', rejected });
      return;
    }
    if (endS - startS > ballTrackerParameters.longestShotS) {
      const rejected: RejectedFlight = {
        startS: startS - this.filterDelayS,
        endS: endS - this.filterDelayS,
        kind: 'not-flight',
        reason: `even motion for ${(endS - startS).toFixed(1)} s, no throw flies longer than ${ballTrackerParameters.longestShotS} s`,
      };
      events.push({ kind: 'rejected', rejected });
      return;
    }
    const outcome = this.analyse(run, 'final');
    this.calibrationNow = outcome.calibration;
    if (outcome.kind === 'shot') {
      this.count++;
      events.push({ kind: 'shot', shot: outcome.shot });
    } else events.push({ kind: 'rejected', rejected: outcome.rejected });
  }

  private analyse(run: QuietRun, stage: 'early' | 'final'): FlightOutcome {
    const history = this.history as SampleHistory;
    const base = history.oldest;
    const block = history.view();
    const local = (r: QuietRun): QuietRun => ({ start: r.start - base, end: r.end - base });
    const context = {
      block,
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
    return history.hasGyro ? analyseFlight(context, this.count) : analyseForceOnlyFlight(context, this.count);
  }
}

/** A first estimate is worth telling when the ball clearly goes up fast enough; a pass may still look so. */
function promising(outcome: Extract<FlightOutcome, { kind: 'shot' }>): boolean {
  return outcome.shot.releaseS !== null;
}
