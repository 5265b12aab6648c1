/**
 * What must be known of a CSV recording before its first sample can be handed on: the usual time step, the ends of the
 * sensor's ranges and whether the units are what the names say. A CSV file states none of it, so its start is read twice.
 */

import { standardGravityMps2 } from '../../foundation/constants.ts';
import type { RecordingWarning } from '../unreadable.ts';
import { ClipLevelFinder, commonRanges } from './clip-levels.ts';
import type { CsvColumns } from './csv-columns.ts';
import type { RowBlock } from './csv-rows.ts';
import { StepHistogram } from './step-histogram.ts';
import { GravityTurns, RestingAxes } from './unit-evidence.ts';
import { type QuantityKind, unitFactor, unitSuffixes } from './unit-factors.ts';

export interface CsvSurvey {
  /** Usual step between rows, s; null with fewer than two rows. */
  readonly usualStepS: number | null;
  /** A longer step than this means missing rows, s. */
  readonly gapStepS: number;
  /** Clip levels +x −x +y −y +z −z, SI magnitudes, Infinity where the range is not known. */
  readonly accelLevels: Float64Array;
  readonly gyroLevels: Float64Array;
  readonly warnings: readonly RecordingWarning[];
}

/** A step this many times the usual one has a row missing: above jitter, below the double step of one lost row. */
const gapRatio = 1.6;
/** Rest is looked for in windows of this length. */
const restWindowS = 0.5;
/** In a window at rest the reading, size and direction, scatters by less than this share of its size. */
const restSpread = 0.02;
/** A ball that spins in flight reads a steady force as well: at rest the gyroscope, whose unit may be wrong, reads little. */
const restTurn = { radps: 0.3, share: 0.02 } as const;
/** Without a gyroscope a spinning flight reads steadily, too, but each one another force: rests agree with one another to this share. */
const restsAgree = 0.1;
/** A real sensor's last digit changes all the time: all columns alike for so long, s and rows, is no reading. */
const frozen = { leastS: 5, leastRows: 250 } as const;
/** |a| at rest may differ from g by this share (bias, scale error) before the unit is doubted. */
const restTolerance = 0.15;
/** No common gyroscope reads more than 4000 °/s on an axis; √3 of that over three axes is 121 rad/s. */
const fastestTurnRadps = 125;
/** Natural logarithm of the ratio up to which gravity's turning is taken to speak for a unit; units lie 6 and more apart. */
const unitDoubt = 0.5;

/** Takes the rows from the start of a recording; `finish` tells what they show. */
export class CsvSurveyor {
  readonly #columns: CsvColumns;
  readonly #steps = new StepHistogram();
  readonly #accel = new ClipLevelFinder(commonRanges.accelMps2);
  readonly #gyro = new ClipLevelFinder(commonRanges.gyroRadps);
  readonly #restMeansMps2: number[] = [];
  readonly #rests = new RestingAxes();
  readonly #turns = new GravityTurns();
  readonly #axisSums = new Float64Array(3);
  #turnSum = 0;
  #window = { startS: Number.NaN, n: 0, sum: 0, squares: 0 };
  #lastTimeS = Number.NaN;
  #firstTimeS = Number.NaN;
  readonly #first = new Float64Array(6);
  #changes = false;
  #timeDecimals = 0;
  #sumMps2 = 0;
  #rows = 0;
  #fastestRadps = 0;

  constructor(columns: CsvColumns) {
    this.#columns = columns;
  }

  add(block: RowBlock): void {
    this.#timeDecimals = block.timeDecimals;
    this.#accel.add(block.accelMps2, block.length);
    if (block.gyroRadps) this.#gyro.add(block.gyroRadps, block.length);
    for (let i = 0; i < block.length; i++) {
      const timeS = block.timeS[i] as number;
      if (this.#rows > 0) this.#steps.add(timeS - this.#lastTimeS);
      this.#lastTimeS = timeS;
      this.#watchForChange(block, i, timeS);
      this.#rows += 1;
      const size = Math.hypot(
        block.accelMps2[3 * i] as number,
        block.accelMps2[3 * i + 1] as number,
        block.accelMps2[3 * i + 2] as number,
      );
      this.#sumMps2 += size;
      this.#addToWindow(timeS, size);
      for (let k = 0; k < 3; k++) {
        this.#axisSums[k] = (this.#axisSums[k] as number) + (block.accelMps2[3 * i + k] as number);
      }
      if (block.gyroRadps) {
        this.#turns.add(timeS, block.accelMps2, block.gyroRadps, 3 * i);
        const turn = Math.hypot(
          block.gyroRadps[3 * i] as number,
          block.gyroRadps[3 * i + 1] as number,
          block.gyroRadps[3 * i + 2] as number,
        );
        if (turn > this.#fastestRadps) this.#fastestRadps = turn;
        this.#turnSum += turn;
      }
    }
  }

  #watchForChange({ accelMps2, gyroRadps }: RowBlock, i: number, timeS: number): void {
    if (this.#changes) return;
    for (let k = 0; k < 3; k++) {
      const [a, w] = [accelMps2[3 * i + k] as number, gyroRadps ? (gyroRadps[3 * i + k] as number) : 0];
      if (this.#rows === 0) {
        this.#first[k] = a;
        this.#first[3 + k] = w;
      } else if (a !== this.#first[k] || w !== this.#first[3 + k]) this.#changes = true;
    }
    if (this.#rows === 0) this.#firstTimeS = timeS;
  }

  #addToWindow(timeS: number, size: number): void {
    const window = this.#window;
    if (!(timeS - window.startS < restWindowS)) {
      const mean = window.sum / window.n;
      const axes = this.#axisSums.map((sum) => sum / window.n);
      // A steady push keeps its size while the sensor turns; at rest it keeps its direction, too.
      const variance = window.squares / window.n - axes.reduce((sum, axis) => sum + axis * axis, 0);
      const slow = this.#turnSum / window.n < Math.max(restTurn.radps, restTurn.share * this.#fastestRadps);
      if (window.n >= 8 && mean > 0 && slow && variance < (restSpread * mean) ** 2) {
        const [x, y, z] = axes;
        this.#restMeansMps2.push(mean);
        this.#rests.add(x as number, y as number, z as number);
      }
      this.#axisSums.fill(0);
      this.#turnSum = 0;
      this.#window = { startS: timeS, n: 0, sum: 0, squares: 0 };
    }
    this.#window.n += 1;
    this.#window.sum += size;
    this.#window.squares += size * size;
  }

  async finish(): Promise<CsvSurvey> {
    const resolutionS = 10 ** -this.#timeDecimals * (this.#columns.toSi[0] as number);
    const medianS = this.#steps.medianS();
    // Times printed with few decimals take turns between two steps; the mean is then the usual one, not the median.
    const usualStepS = medianS === null ? null : this.#steps.meanUpToS(gapRatio * medianS + resolutionS);
    return {
      usualStepS,
      gapStepS: usualStepS === null ? Number.POSITIVE_INFINITY : gapRatio * usualStepS + resolutionS,
      accelLevels: this.#accel.levels(),
      gyroLevels: this.#gyro.levels(),
      warnings: [...this.#frozenWarning(), ...(await this.#accelUnitWarning()), ...(await this.#gyroUnitWarning())],
    };
  }

  #frozenWarning(): RecordingWarning[] {
    const lastsS = this.#lastTimeS - this.#firstTimeS;
    if (this.#changes || this.#rows < frozen.leastRows || !(lastsS >= frozen.leastS)) return [];
    return [
      {
        code: 'values-never-change',
        message: `columns ${this.#names(1, this.#columns.hasGyro ? 7 : 4).join(', ')} hold the same numbers in the first ${this.#rows} rows (${lastsS.toFixed(0)} s); expected the noise of a sensor in the last digits: a dead or simulated sensor, or an export that lost its data`,
      },
    ];
  }

  async #accelUnitWarning(): Promise<RecordingWarning[]> {
    if (this.#rows === 0) return [];
    const rests = this.#restMeansMps2.toSorted((a, b) => a - b);
    const middle = rests[rests.length >> 1] ?? 0;
    const apart = rests.filter((read) => Math.abs(read - middle) > restsAgree * middle).length;
    const atRest = rests.length >= 2 && (this.#columns.hasGyro || apart <= rests.length / 2);
    const readMps2 = atRest ? middle : this.#sumMps2 / this.#rows;
    const low = atRest ? 1 - restTolerance : 0.3;
    const high = atRest ? 1 + restTolerance : 4;
    const ratio = readMps2 / standardGravityMps2;
    const mixed = await this.#axisUnitWarning();
    if (mixed.length > 0 || (ratio >= low && ratio <= high)) return mixed;
    const names = this.#names(1, 4);
    const what = `${atRest ? 'at rest' : 'on average'} the accelerometer reads ${readMps2.toPrecision(3)} m/s² in columns ${names.join(', ')}`;
    if (ratio < 0.05) {
      return [
        {
          code: 'accel-without-gravity',
          message: `${what}; expected about 9.8: gravity seems to be taken out already, and the analysis needs it left in`,
        },
      ];
    }
    for (const suffix of unitSuffixes('accel')) {
      const factor = (await unitFactor('accel', suffix)) / this.#unitToSi(1);
      // A ball in play reads more than g on average, one that flies a lot less.
      if (ratio * factor >= (atRest ? low : 0.6) && ratio * factor <= (atRest ? high : 2.5)) {
        return [
          {
            code: 'accel-unit-suspect',
            message: `${what}; expected about 9.8: the numbers look like ${suffix}; if so, ${this.#remedy('accel', suffix)}`,
          },
        ];
      }
    }
    const where = this.#columns.mapped ? 'mapping file' : 'column names';
    return [{ code: 'accel-unit-suspect', message: `${what}; expected about 9.8: check the unit in the ${where}` }];
  }

  /** @returns factor of each known unit against the one that the column `at` is named with. */
  async #factorsFrom(kind: QuantityKind, at: number): Promise<number[]> {
    const own = this.#unitToSi(at);
    return (await Promise.all(unitSuffixes(kind).map((suffix) => unitFactor(kind, suffix)))).map((si) => si / own);
  }

  /** One axis in another unit than its name says shows only when the sensor rested in several positions. */
  async #axisUnitWarning(): Promise<RecordingWarning[]> {
    // Factors are asked for last: most of them load a package.
    if (this.#rests.fitAsNamed()) return [];
    const better = this.#rests.betterUnits(await Promise.all([1, 2, 3].map((at) => this.#factorsFrom('accel', at))));
    if (!better) return [];
    const suffixes = unitSuffixes('accel');
    const names = this.#names(1, 4);
    if (this.#columns.mapped) {
      const [first = 0] = better;
      const isOne = better.every((each) => each === first);
      return this.#mixedAxes(
        names.map((name, k) => `${name} as ${suffixes[better[k] as number]}`),
        isOne ? this.#remedy('accel', suffixes[first] as string) : 'scale the others in the mapping file',
      );
    }
    const wanted = names.map((name, k) => `${name.slice(0, 2).toLowerCase()}_${suffixes[better[k] as number]}`);
    const wrong = names.flatMap((name, k) => (wanted[k] === name.toLowerCase() ? [] : [`${name} as ${wanted[k]}`]));
    return this.#mixedAxes(wrong, 'rename');
  }

  #mixedAxes(wrong: readonly string[], remedy: string): RecordingWarning[] {
    return [
      {
        code: 'accel-unit-suspect',
        message: `at rest the accelerometer reads another size in each position; expected about 9.8 m/s² in all. It would with ${wrong.join(' and ')}: if so, ${remedy}`,
      },
    ];
  }

  async #gyroUnitWarning(): Promise<RecordingWarning[]> {
    const names = this.#names(4, 7).join(', ');
    const turns = this.#turns.factor();
    if (turns) {
      const { factor, correlation } = turns;
      if (correlation < 0) {
        return [
          {
            code: 'gyro-axes-suspect',
            message: `gravity turns the other way in the accelerometer than the gyroscope in columns ${names} says; expected right-handed axes shared by both: check signs and order of the axes`,
          },
        ];
      }
      const off = (of: number) => Math.abs(Math.log(factor / of));
      const factors = off(1) > 2 * unitDoubt ? await this.#factorsFrom('gyro', 4) : [1];
      const best = factors.reduce((a, b) => (off(b) < off(a) ? b : a));
      if (best !== 1 && off(best) < unitDoubt) {
        const suffix = unitSuffixes('gyro')[factors.indexOf(best)] as string;
        return [
          {
            code: 'gyro-unit-suspect',
            message: `gravity turns ${factor.toPrecision(2)} times as fast in the accelerometer as the gyroscope in columns ${names} says; expected the same. The numbers look like ${suffix}: if so, ${this.#remedy('gyro', suffix)}`,
          },
        ];
      }
    }
    if (!(this.#fastestRadps > fastestTurnRadps)) return [];
    return [
      {
        code: 'gyro-unit-suspect',
        message: `the gyroscope reads up to ${this.#fastestRadps.toPrecision(3)} rad/s (${Math.round((this.#fastestRadps * 180) / Math.PI)} °/s) in columns ${names}, more than common gyroscopes can: if the numbers are degrees per second, ${this.#remedy('gyro', 'dps')}`,
      },
    ];
  }

  /** What makes the file say another unit. */
  #remedy(kind: 'accel' | 'gyro', suffix: string): string {
    if (this.#columns.mapped) return `say "unit": "${suffix}" for ${kind} in the mapping file`;
    const [from, to] = kind === 'accel' ? [1, 4] : [4, 7];
    const better = this.#names(from, to).map((name) => `${name.slice(0, 2)}_${suffix}`);
    return `name the columns ${better.join(', ')}`;
  }

  /** Factor of a column's unit, without what a mapping scales besides. */
  #unitToSi(at: number): number {
    return (this.#columns.unitToSi ?? this.#columns.toSi)[at] as number;
  }

  #names(from: number, to: number): string[] {
    return this.#columns.at.slice(from, to).map((at) => this.#columns.names[at] as string);
  }
}
