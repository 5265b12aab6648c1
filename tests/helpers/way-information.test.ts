import { Matrix } from 'ml-matrix';
import { describe, expect, it } from 'vitest';
import { newState } from '../../src/simulate/ball-state.ts';
import { plainFlight } from '../../src/simulate/flight-readings.ts';
import { practiceActs } from '../../src/simulate/practice.ts';
import { columns } from './flight-information.ts';
import { type PracticeSpec, practiceOptions } from './play-practice.ts';
import { airFor, levelling, parametersOf } from './session-bound.ts';
import { type BoundWay, changesOf, readWay, wayBefore, wayBounds } from './way-information.ts';

const spec: PracticeSpec = { seed: 'ways back', shots: 5, decoys: 0, path: 'samples', bound: true };

/** The ways of a practice with what truly happened. */
function ways() {
  const options = practiceOptions(spec);
  const air = airFor(spec.seed);
  const told = [];
  for (const act of practiceActs({ ...options, air })) {
    const { shot } = act;
    const flight = shot && act.segments.find(({ touch, endS }) => touch === 'free' && endS > shot.releaseS + 0.1);
    if (!shot || !flight) continue;
    const middleS = (flight.startS + flight.endS) / 2;
    const state = newState();
    flight.stateAt(middleS, state);
    const parameters = parametersOf(state, options.sensor, air, plainFlight.gravityMps2);
    const way = wayBefore(act, parameters, levelling(state), middleS, options.sensor);
    if (way) told.push({ way, shot });
  }
  return told;
}

const played = ways();

/** Bounds where nothing is open but one unknown, of which the way itself tells nothing. */
function boundsWith(way: BoundWay, name: string, spread: number) {
  const changes = changesOf(way);
  const information = Matrix.diag(changes.per.map((_, i) => (i < columns.length ? 0 : 1e12)));
  const known = Matrix.diag(columns.map((column) => (column === name ? spread : 1e-9) ** -2));
  return wayBounds({ ...changes, information }, known);
}

describe('a way followed back by the readings of an ideal sensor', () => {
  it('is the one that the ball took', () => {
    expect(new Set(played.map(({ shot }) => shot.startKind)).size).toBeGreaterThan(1);
    for (const { way, shot } of played) {
      const told = readWay(way, changesOf(way).base);
      const { sidePathM, pauseS, dipDepthM } = shot.measures;
      // Steps of 3 ms through forces that change within a few of them.
      expect(told.sidePathM).toBeCloseTo(sidePathM.value ?? Number.NaN, 2);
      expect(Math.abs(told.pauseS - (pauseS.value ?? Number.NaN))).toBeLessThan(0.01);
      expect(told.dipDepthM).toBeCloseTo(dipDepthM.value ?? Number.NaN, 2);
      for (const value of changesOf(way).base.leftOver) expect(Math.abs(value)).toBeLessThan(0.05);
    }
  });

  it('is off by the time between where the upward speed is off', () => {
    const { way, shot } = played.find(({ shot: { startKind, measures } }) => {
      return startKind !== 'hold' && (measures.dipDepthM.value ?? 0) > 0.1;
    }) as (typeof played)[0];
    const errorMps = 0.02;
    const bounds = boundsWith(way, 'velocityMpsZ', errorMps);
    const expectedM = errorMps * ((shot.liftS as number) - (shot.pickupS as number));
    // 120 draws scatter by a sixteenth.
    expect((bounds.dipDepthM as number) / expectedM).toBeGreaterThan(0.8);
    expect((bounds.dipDepthM as number) / expectedM).toBeLessThan(1.2);
    const sure = boundsWith(way, 'velocityMpsZ', 1e-7);
    for (const name of ['sidePathM', 'pauseS', 'dipDepthM'] as const) expect(sure[name]).toBeLessThan(1e-4);
  });

  it('tells the bias by the flight that came to the hands', () => {
    const { way } = played.find((one) => one.way.arrival !== null) as { way: BoundWay };
    const bias = columns.indexOf('accelBiasMps2X');
    const samples = way.arrival?.samples ?? 0;
    const alone = samples / way.accelNoiseMps2 ** 2;
    // It is felt directly and, since the way back goes wrong by it, by a drag that is not that of the speed.
    expect(changesOf(way).information.get(bias, bias)).toBeGreaterThan(0.3 * alone);
  });
});
