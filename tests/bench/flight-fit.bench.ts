import { aeroPreset, ballPresets } from '../../src/flight/ball-presets.ts';
import { prepareFlight } from '../../src/flight/flight-data.ts';
import { fitFlight } from '../../src/flight/flight-fit.ts';
import { atOnce } from '../../src/foundation/resting-work.ts';
import { initialCalibration, rateCorrectionPrior } from '../../src/shots/ball/calibration.ts';
import { filterDelayS } from '../../src/simulate/sensor-model.ts';
import type { Vec3 } from '../../src/simulate/vectors.ts';
import { practiceSamples } from '../helpers/bench-practice.ts';
import type { BenchRow } from './bench.ts';

const flightCount = 10;
/** Kept away from both ends, s. */
const marginS = 0.015;

/**
 * The fit of the physics to single flights with nothing known before: the most work that a fit can be. Baseline:
 * cutting, smoothing and thinning the same samples. Ten flights a run; seed `bench fit`.
 */
export async function rows(): Promise<readonly BenchRow[]> {
  return [...fitRows(200), ...fitRows(833)];
}

function fitRows(rateHz: number): BenchRow[] {
  const { block, truth, sensor } = practiceSamples('bench fit', 2 * flightCount, rateHz);
  const delayS = filterDelayS(sensor);
  const flights = truth.shots.slice(0, flightCount).map(({ releaseS, contactS }) => {
    const from = block.timeS.findIndex((t) => t > releaseS + delayS + marginS);
    const to = block.timeS.findIndex((t) => t > (contactS ?? releaseS + 1) + delayS - marginS);
    return [from, to] as const;
  });
  if (flights.length < flightCount) throw new Error(`the bench wants ${flightCount} shots, got ${flights.length}`);
  const aero = aeroPreset(ballPresets[7]);
  const common = { amount: flights.length, amountOf: 'shots' };
  return [
    {
      ...common,
      name: `cut and smooth ten flights, ${rateHz} Hz`,
      run: () => flights.map(([from, to]) => prepareFlight(block, from, to)),
    },
    {
      ...common,
      name: `fit ten flights, ${rateHz} Hz`,
      run: () =>
        flights.map(([from, to]) => {
          const data = prepareFlight(block, from, to);
          const middle = Math.floor(data.length / 2);
          const rate: Vec3 = [
            data.rateRadps[3 * middle] as number,
            data.rateRadps[3 * middle + 1] as number,
            data.rateRadps[3 * middle + 2] as number,
          ];
          const calibration = initialCalibration();
          const rateCorrection = rateCorrectionPrior(calibration, rate, data.rateClipped);
          const work = fitFlight(data, aero, {
            ballAndSensor: calibration.ballAndSensor,
            rateCorrection,
            rest: null,
            end: null,
            slowWeights: calibration.slowWeights,
            hypotheses: [],
          });
          return atOnce(work);
        }),
    },
  ];
}
