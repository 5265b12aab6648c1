import type { ImuBlock, SensorTraits } from '../../foundation/imu-block.ts';
import { resolveParams } from '../../foundation/parameters.ts';
import { currentAttitude, deriveAttitude, stepAttitude } from '../../signal/attitude.ts';
import { inclinationSdRad } from '../../signal/attitude-errors.ts';
import { initialAttitudeState } from '../../signal/attitude-state.ts';
import { conjugate, rotate } from '../../signal/rotation.ts';
import { norm, type Vec3, vecAt } from '../../signal/vec3.ts';
import { SampleHistory } from '../ball/sample-history.ts';
import type { RejectedFlight, ShotEvent, WristSettings } from '../shot.ts';
import { ArmLearner } from './arm-learner.ts';
import { forceOnlyShot, judgePush } from './force-only.ts';
import { PathMemory } from './path-columns.ts';
import type { WindowKnowledge } from './path-window.ts';
import { mayBeShot } from './quick-look.ts';
import { closeSnap, initialSnapState, type Snap, stepSnap } from './snap-finder.ts';
import { type SnapStudy, studySnap, subBlock } from './snap-study.ts';
import { type WristParams, wristParams } from './wrist-params.ts';
import { assembleWristShot } from './wrist-shot.ts';

/** What an accelerometer alone needs before and after a push, s. */
const forceBeforeS = 0.6;
const forceAfterS = 0.6;

/** Of two pushes that both look like a shot the later is, unless it is much the weaker one: before it the ball was only raised. */
function isRelease({ verdict, movement }: SnapStudy, earlier: SnapStudy): boolean {
  if (!verdict.isShot) return false;
  return verdict.belief > earlier.verdict.belief || movement.speedMps > weakerShare * earlier.movement.speedMps;
}

const weakerShare = 0.7;

/** @returns until when the hand of a shot stays up. */
function raisedUntil({ movement }: SnapStudy, { groupS, episodeS }: WristParams): number {
  return movement.snapS + Math.max(groupS, Math.min(episodeS, movement.downS ?? episodeS));
}

/** Paths of all trackers of a thread lie here one after the other: a study is done with before the next sample is taken. */
const memories = { judged: new PathMemory(), compared: new PathMemory() } as const;

/** A snap that waits for what follows it, with the vertical in the sensor's axes as it was known then. */
interface Waiting {
  readonly snap: Snap;
  readonly up: Vec3;
}

/**
 * Streaming analyser of one sensor on the shooting arm: samples in, shots out. Any split of the input gives the same
 * events. A shot is told `windowAfterS` after its snap, when the hand has come down.
 */
export class WristTracker {
  private readonly arm: ArmLearner;
  private readonly traits: SensorTraits;
  private readonly params: WristParams;
  private readonly attitude = deriveAttitude();
  private readonly state = initialAttitudeState(this.attitude);
  private readonly snaps = initialSnapState();
  private history: SampleHistory | null = null;
  private pending: Waiting[] = [];
  /** Vertical in the sensor's axes at the open peak. */
  private upAtPeak: Vec3 = [0, 0, 1];
  private lastShotS = Number.NEGATIVE_INFINITY;
  /** The hand of the last shot is up until then: what it does there is no shot of its own. */
  private upUntilS = Number.NEGATIVE_INFINITY;
  private count = 0;

  /**
   * @param traits what is known of the sensor.
   * @param settings what the person told.
   * @throws RangeError when the nominal rate is not between 20 and 5,000 Hz.
   */
  constructor(traits: SensorTraits, settings: WristSettings) {
    if (!(traits.nominalRateHz >= 20 && traits.nominalRateHz <= 5000)) {
      throw new RangeError(`nominalRateHz = ${traits.nominalRateHz} Hz is outside 20..5000 Hz`);
    }
    this.traits = traits;
    this.arm = new ArmLearner(settings);
    this.params = resolveParams(wristParams);
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
    const last = closeSnap(this.snaps);
    if (last) this.pending.push({ snap: last, up: this.upAtPeak });
    while (this.pending.length > 0) {
      if (this.history?.hasGyro) this.judgeNext(events);
      else this.judgeNextPush(events);
    }
    return events;
  }

  private step(block: ImuBlock, i: number, events: ShotEvent[]): void {
    if (!this.history) {
      const keep = Math.ceil(this.params.historyS * this.traits.nominalRateHz);
      this.history = new SampleHistory(keep, block.gyroRadps !== null);
    }
    const { history, state } = this;
    history.push(block, i);
    if (!block.gyroRadps) {
      this.stepForce(block, i, events);
      return;
    }
    stepAttitude(this.attitude, state, block, i);
    this.arm.step(block, i, state.bias.biasRadps);
    const timeS = block.timeS[i] as number;
    const bias = state.bias.biasRadps;
    const at = 3 * i;
    const rate = Math.hypot(
      (block.gyroRadps[at] as number) - (bias[0] as number),
      (block.gyroRadps[at + 1] as number) - (bias[1] as number),
      (block.gyroRadps[at + 2] as number) - (bias[2] as number),
    );
    const snap = stepSnap(this.snaps, history.total - 1, timeS, rate, this.params.snapRateRadps);
    if (snap) this.pending.push({ snap, up: this.upAtPeak });
    if (this.snaps.sample === history.total - 1) this.upAtPeak = this.up();
    while (this.pending[0] && timeS >= this.pending[0].snap.timeS + this.params.windowAfterS) this.judgeNext(events);
  }

  /** The same without a gyroscope: peaks of the specific force are pushes. */
  private stepForce(block: ImuBlock, i: number, events: ShotEvent[]): void {
    const history = this.history as SampleHistory;
    const timeS = block.timeS[i] as number;
    const push = stepSnap(
      this.snaps,
      history.total - 1,
      timeS,
      norm(vecAt(block.accelMps2, i)),
      this.params.forcePeakMps2,
    );
    if (push) this.pending.push({ snap: push, up: this.upAtPeak });
    while (this.pending[0] && timeS >= this.pending[0].snap.timeS + forceAfterS) this.judgeNextPush(events);
  }

  private judgeNextPush(events: ShotEvent[]): void {
    const { snap } = this.pending.shift() as Waiting;
    const history = this.history as SampleHistory;
    if (snap.timeS - this.lastShotS < this.params.groupS || snap.sample < history.oldest) return;
    const part = this.about(snap, forceBeforeS, forceAfterS);
    const release = judgePush(part.block, part.at, this.params);
    if (!release) return;
    this.lastShotS = snap.timeS;
    events.push({ kind: 'shot', shot: forceOnlyShot(release, this.count++, this.traits.filterDelayS) });
  }

  /** Judges the oldest snap that waits; a better one of the same movement takes its place. */
  private judgeNext(events: ShotEvent[]): void {
    const { snap, up } = this.pending.shift() as Waiting;
    if (snap.timeS < this.upUntilS) return;
    const study = this.study(snap, up, memories.judged);
    if (!study) return;
    if (!study.verdict.isShot) {
      if (study.verdict.worthTelling) events.push({ kind: 'rejected', rejected: this.rejection(study) });
      return;
    }
    if (this.hasBetter(study)) return;
    const shot = assembleWristShot({
      study,
      index: this.count,
      traits: this.traits,
      arm: this.arm,
      params: this.params,
    });
    if (!shot) return;
    this.count++;
    this.upUntilS = raisedUntil(study, this.params);
    events.push({ kind: 'shot', shot });
  }

  /** @returns whether a later push of the same raised hand is the shot: the ball is let go in the hardest one. */
  private hasBetter(study: SnapStudy): boolean {
    const { movement, verdict } = study;
    const { groupS, episodeS } = this.params;
    for (const { snap, up } of this.pending) {
      const laterS = snap.timeS - movement.snapS;
      if (laterS > episodeS || (movement.downS !== null && laterS > movement.downS)) return false;
      const other = this.study(snap, up, memories.compared);
      if (!other) continue;
      const samePush = laterS < groupS && other.movement.fastestS < movement.snapS;
      if (samePush ? other.verdict.belief > verdict.belief : isRelease(other, study)) return true;
    }
    return false;
  }

  private rejection({ movement, verdict }: SnapStudy): RejectedFlight {
    const delayS = this.traits.filterDelayS;
    return {
      startS: movement.lowestS - delayS,
      endS: movement.snapS + (movement.settleS ?? 0) - delayS,
      kind: verdict.kind,
      reason: verdict.reason,
    };
  }

  private study(snap: Snap, up: Vec3, memory: PathMemory): SnapStudy | null {
    const history = this.history as SampleHistory;
    if (snap.sample < history.oldest) return null;
    const { windowBeforeS, windowAfterS } = this.params;
    const { block: part, at, from } = this.about(snap, windowBeforeS, windowAfterS);
    const last = history.total - 1 - history.oldest - from;
    const knowledge = this.knowledge(last);
    if (!mayBeShot(part, at, up, knowledge.gyroBiasRadps, this.params)) return null;
    return studySnap(part, at, knowledge, this.arm.mount().longAxis?.inSensor ?? null, this.params, memory);
  }

  /** @returns the samples about a snap, where it is among them and which of the history is the first. */
  private about(snap: Snap, beforeS: number, afterS: number): { block: ImuBlock; at: number; from: number } {
    const history = this.history as SampleHistory;
    const view = history.view();
    const at = snap.sample - history.oldest;
    let from = at;
    while (from > 0 && (view.timeS[from - 1] as number) >= snap.timeS - beforeS) from--;
    let to = at + 1;
    while (to < view.length && (view.timeS[to] as number) <= snap.timeS + afterS) to++;
    return { block: subBlock(view, from, to), at: at - from, from };
  }

  /** @returns the vertical in the sensor's axes after the last sample. */
  private up(): Vec3 {
    return rotate(conjugate(currentAttitude(this.state)), [0, 0, 1]);
  }

  /** What the attitude filter knows after the last sample. */
  private knowledge(lastSample: number): WindowKnowledge {
    const { state } = this;
    const { covariance, biasRadps } = state.bias;
    const variance = ((covariance[0] as number) + (covariance[3] as number) + (covariance[5] as number)) / 3;
    return {
      gyroBiasRadps: [biasRadps[0] as number, biasRadps[1] as number, biasRadps[2] as number],
      gyroBiasSdRadps: Math.sqrt(variance),
      up: {
        at: lastSample,
        direction: this.up(),
        // The filter has seen the same samples as the window: it counts as less than a witness of its own.
        sdRad: 1.5 * inclinationSdRad(state) + 0.01,
      },
    };
  }
}
