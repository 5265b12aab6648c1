import {
  type ActPlan,
  type AimPlan,
  type DecoyKind,
  type DecoyPlan,
  decoyKinds,
  type ShotPlan,
  type StartPlan,
} from './practice-plan.ts';
import { Random } from './random.ts';

/** What a drawn practice holds. */
export interface PracticeDraw {
  readonly shots: number;
  readonly decoys: number;
  readonly distanceM: readonly [number, number];
  readonly spinRps: readonly [number, number];
  /** Relative weights of the start kinds. */
  readonly startWeights: { readonly dribble: number; readonly catch: number; readonly hold: number };
  readonly hoopHeightM: number;
  /** Which decoys may come; all of them where it is not given. */
  readonly decoyKinds?: readonly [DecoyKind, ...DecoyKind[]];
}

export const usualPractice: PracticeDraw = {
  shots: 30,
  decoys: 30,
  distanceM: [4.2, 7.2],
  spinRps: [1.2, 3],
  startWeights: { dribble: 1, catch: 1, hold: 1 },
  hoopHeightM: 3.05,
};

/** Draws a mixed list of shots and decoys in random order; the same seed gives the same list. */
export function drawPracticePlan(seed: string | number, options: Partial<PracticeDraw> = {}): ActPlan[] {
  const draw = { ...usualPractice, ...options };
  const random = new Random(seed).fork('practice');
  const acts: ActPlan[] = [];
  for (let i = 0; i < draw.shots; i++) acts.push(drawShotPlan(random.fork(`shot ${i}`), draw));
  for (let i = 0; i < draw.decoys; i++) acts.push(drawDecoyPlan(random.fork(`decoy ${i}`), draw.decoyKinds));
  for (let i = acts.length - 1; i > 0; i--) {
    const j = random.whole(0, i);
    const swapped = acts[i] as ActPlan;
    acts[i] = acts[j] as ActPlan;
    acts[j] = swapped;
  }
  return acts;
}

/** A practice without end for long sessions: shots with a decoy between every few. */
export function* drawEndlessPlan(
  seed: string | number,
  options: Partial<PracticeDraw> = {},
  decoyShare = 0.3,
): Generator<ActPlan> {
  const draw = { ...usualPractice, ...options };
  const random = new Random(seed).fork('endless');
  for (let i = 0; ; i++) {
    const own = random.fork(i);
    yield own.chance(decoyShare) ? drawDecoyPlan(own, draw.decoyKinds) : drawShotPlan(own, draw);
  }
}

export function drawDecoyPlan(random: Random, kinds: readonly [DecoyKind, ...DecoyKind[]] = decoyKinds): DecoyPlan {
  return { kind: random.pick(kinds), size: random.unit() };
}

/** Draws one shot; what `fixed` holds stays as given. */
export function drawShotPlan(
  random: Random,
  draw: PracticeDraw = usualPractice,
  fixed: Partial<ShotPlan> = {},
): ShotPlan {
  const distanceM = fixed.distanceM ?? random.between(...draw.distanceM);
  const start = fixed.start ?? drawStart(random, draw);
  const held = start.kind === 'routine' || start.kind === 'long-hold';
  // Players differ in tempo.
  const tempo = random.between(0.8, 1.3);
  const motion = random.pick(['one', 'one', 'two'] as const);
  const far = Math.min(1, Math.max(0, (distanceM - 2) / 5));
  return {
    kind: 'shot',
    start,
    distanceM,
    hoopHeightM: draw.hoopHeightM,
    boardAngleDeg: random.between(-75, 75),
    releaseHeightM: random.between(2, 2.55),
    launchAngleDeg: random.boundedNormal(54 - 4 * far, 2.2),
    aim: drawAim(random),
    depthErrorM: random.boundedNormal(0, 0.06),
    sideErrorM: random.boundedNormal(0, 0.05),
    spinRps: random.between(...draw.spinRps),
    axisTiltDeg: random.boundedNormal(0, 9),
    rifleDeg: random.boundedNormal(0, 5),
    motion,
    dipHeightM: held
      ? random.between(0.8, 1.15)
      : start.kind === 'dribble'
        ? random.between(0.5, 1)
        : random.between(0.75, 1.25),
    dipSideM: random.normal(0, 0.08),
    gatherS: tempo * (held ? random.between(0.3, 0.5) : random.between(0.16, 0.34)),
    lowPauseS: random.chance(0.35) ? random.between(0.03, 0.22) : 0,
    liftS: tempo * random.between(0.25, 0.55),
    highPauseS: motion === 'two' && random.chance(0.7) ? random.between(0.03, 0.3) : 0,
    setDropM: motion === 'one' ? random.between(0.4, 0.65) : random.between(0.3, 0.48),
    spinUpS: random.between(0.05, 0.1),
    fadeS: random.between(0.005, 0.04),
    fadeShape: random.pick(['linear', 'square', 'smooth'] as const),
    pushMps2: random.between(18, 55),
    sidePushMps2: random.normal(0, 3),
    gatherTurnRadps: random.between(0.5, 6),
    afterPlayS: random.between(1, 4),
    ...fixed,
  };
}

function drawAim(random: Random): AimPlan {
  return random.pickWeighted([
    ['through', 40],
    ['front', 14],
    ['back', 16],
    ['board', 10],
    ['short-air', 8],
    ['wide-air', 4],
    ['long', 6],
  ]);
}

function drawStart(random: Random, draw: PracticeDraw): StartPlan {
  const { startWeights: weight } = draw;
  const kind = random.pickWeighted([
    ['dribble', weight.dribble],
    ['catch', weight.catch],
    ['hold', weight.hold],
  ] as const);
  if (kind === 'dribble') {
    return {
      kind: 'dribble',
      dribbles: random.whole(1, 5),
      heightM: random.between(0.65, 1.05),
      crossover: random.chance(0.25),
      walkMps: random.chance(0.3) ? 0 : random.between(0.5, 4),
    };
  }
  if (kind === 'catch') {
    return random.pickWeighted<StartPlan>([
      [{ kind: 'chest-pass', distanceM: random.between(3, 7) }, 5],
      [{ kind: 'bounce-pass', distanceM: random.between(3.5, 6.5) }, 3],
      [{ kind: 'lob-pass', distanceM: random.between(4, 8) }, 1],
      [{ kind: 'spin-out' }, 3],
    ]);
  }
  return random.chance(0.65)
    ? { kind: 'routine', dribbles: random.whole(0, 4), stillS: random.between(0.55, 2.5) }
    : { kind: 'long-hold', holdS: random.between(1.8, 4), swings: random.whole(0, 4) };
}
