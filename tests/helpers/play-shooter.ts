/**
 * Plays a session of the steady simulated shooter with a sensor in the ball and one on the arm, as notifications through the very
 * path that live packets take, shot by shot.
 */
import { Subject } from 'rxjs';
import type { SensorNotification } from '../../src/foundation/sensor-notification.ts';
import { chainOpener } from '../../src/live/chain-opener.ts';
import { PacketPath } from '../../src/live/packet-path.ts';
import { noSetup } from '../../src/live/sensor-setup.ts';
import type { SensorStateChange } from '../../src/live/sensor-streams.ts';
import type { PublishedEvent } from '../../src/server/live-hub.ts';
import { SensorPair } from '../../src/server/pairing/sensor-pair.ts';
import type { MergedShot } from '../../src/shots/merge/merge-shots.ts';
import { defaultBallSettings, type Shot } from '../../src/shots/shot.ts';
import type { SpinReference } from '../../src/shots/wrist/backspin.ts';
import { drawSteadyShooter, type SteadyShooter, steadyShot } from '../../src/simulate/arm/steady-shooter.ts';
import { encodePairedPractice, encodeWristPractice } from '../../src/simulate/arm/wrist-encoded.ts';
import { ballSizeFor, drawArmShow } from '../../src/simulate/arm/wrist-plan.ts';
import { encodePractice } from '../../src/simulate/encoded-practice.ts';
import type { StartPlan } from '../../src/simulate/practice-plan.ts';
import { Random } from '../../src/simulate/random.ts';
import type { SessionShot } from './fault-habits.ts';

export type MountPlace = 'wrist-forearm' | 'back-of-hand';

export interface ShooterSession {
  /** The same player for the same seed. */
  readonly playerSeed: string;
  readonly sessionSeed: string;
  readonly place: MountPlace;
  readonly shots: readonly SessionShot[];
  /** Told to the analysis; null where it changes within the session. */
  readonly distanceM: number | null;
  /** Which sensors there are. */
  readonly sensors: 'ball and wrist' | 'wrist' | 'ball';
  readonly spinReferences?: readonly SpinReference[];
}

/** What each sensor alone and both together said of the shots, in order. */
export interface SeenShots {
  readonly ball: Shot[];
  readonly wrist: Shot[];
  readonly both: MergedShot[];
  /** What truly happened in the session's shots, as far as each sensor could know it, in its recording time. */
  readonly truth: { readonly ball: TrueShot[]; readonly wrist: TrueShot[] };
}

export interface TrueShot {
  readonly releaseS: number;
  readonly measures: Readonly<Record<string, { readonly value: number | null }>>;
}

export function shooterOf(playerSeed: string, place: MountPlace): SteadyShooter {
  return drawSteadyShooter(playerSeed, new Random(`${playerSeed}/shooter`), place);
}

/** @returns what was seen, a growing record after each act of play; a caller that has seen enough stops asking. */
export function* playShooter(session: ShooterSession): Generator<SeenShots> {
  const random = new Random(session.sessionSeed);
  const shooter = shooterOf(session.playerSeed, session.place);
  const acts = session.shots.map((shot, i) => {
    const own = random.fork(`shot ${i}`);
    const { distanceM, habit } = shot;
    return steadyShot(own, shooter, { start: startOf(own.fork('start'), shot), distanceM }, habit);
  });
  const plan = {
    player: shooter.player,
    ballSize: ballSizeFor(shooter.player.statureM),
    acts: [drawArmShow(random.fork('show')), ...acts],
  };
  const notifications = new Subject<SensorNotification>();
  const states = new Subject<SensorStateChange>();
  // As a coach tells it who has looked once: to a tenth of a metre.
  const meanM = acts.reduce((sum, { ball }) => sum + ball.releaseHeightM, 0) / acts.length;
  const releaseHeightM = Math.round(10 * meanM) / 10;
  const settings = { ...defaultBallSettings, ballSize: plan.ballSize, distanceM: session.distanceM, releaseHeightM };
  // Nobody waits for first estimates here, and final shots are the same without them.
  const path = new PacketPath({ notifications, states, openChain: chainOpener(settings, false) });
  const pair = new SensorPair((sensorId) => path.summary(sensorId)?.clock.host ?? null);
  const seen: SeenShots = { ball: [], wrist: [], both: [], truth: { ball: [], wrist: [] } };
  const keep = (told: readonly PublishedEvent[]) => {
    for (const { event } of told) {
      if (event.kind === 'shot' && event.shot.stage === 'final') seen.both.push(event.shot as MergedShot);
    }
  };
  const options = { seed: session.sessionSeed, plan };
  const paired = session.sensors === 'ball and wrist' ? encodePairedPractice(options) : null;
  const alone = session.sensors === 'wrist' ? encodeWristPractice(options) : null;
  const balls = acts.map(({ ball }) => ball);
  const ballAlone = session.sensors === 'ball' ? encodePractice({ seed: session.sessionSeed, acts: balls }) : null;
  const wristId = (paired?.sensors.wrist ?? alone?.sensor)?.sensorId ?? '';
  path.events.subscribe((event) => {
    if (event.kind !== 'analysis') return;
    if (event.event.kind === 'shot' && event.event.shot.stage === 'final') {
      (event.sensorId === wristId ? seen.wrist : seen.ball).push(event.event.shot);
    }
    if (paired !== null) keep(pair.take(event));
  });
  const setup = { ...noSetup, spinReferences: session.spinReferences ?? [] };
  const open = (sensorId: string, description: Uint8Array) => {
    const change = { sensorId, state: 'streaming' as const, hostTimeS: 0, description, detail: null, setup };
    states.next(change);
    pair.takeState(change);
  };
  if (paired !== null) {
    open(paired.sensors.ball.sensorId, paired.descriptions.ball);
    open(wristId, paired.descriptions.wrist);
  }
  if (alone !== null) open(wristId, alone.description);
  if (ballAlone !== null) open(ballAlone.sensor.sensorId, ballAlone.description);
  for (const chunk of (paired ?? alone ?? ballAlone)?.chunks ?? []) {
    const { ball, wrist } =
      'ball' in chunk ? chunk : alone === null ? { ball: chunk, wrist: null } : { ball: null, wrist: chunk };
    seen.truth.ball.push(...(ball?.shots ?? []));
    seen.truth.wrist.push(...(wrist?.shots ?? []));
    for (const notification of chunk.notifications) notifications.next(notification);
    const last = chunk.notifications.at(-1);
    if (paired !== null && last) keep(pair.advance(last.hostTimeS));
    yield seen;
  }
  notifications.complete();
  states.complete();
  keep(pair.finish(Number.MAX_SAFE_INTEGER));
  yield seen;
}

function startOf(random: Random, { start, catchHeightM }: SessionShot): StartPlan {
  switch (start) {
    case 'dribble':
      return {
        kind: 'dribble',
        dribbles: random.whole(1, 2),
        heightM: random.between(0.85, 1),
        crossover: false,
        walkMps: random.between(0, 1.5),
      };
    case 'catch':
      return {
        ...{ kind: 'chest-pass', distanceM: random.between(4, 5) },
        ...(catchHeightM === undefined ? {} : { catchHeightM: catchHeightM + random.between(-0.05, 0.05) }),
      };
    case 'hold':
      return { kind: 'routine', dribbles: 1, stillS: random.between(0.7, 1) };
  }
}
