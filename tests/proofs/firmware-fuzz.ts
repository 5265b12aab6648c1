import { mkdtempSync, rmSync } from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import { crc8Register } from '../../src/protocol/checksum.ts';
import { controlStatuses, encodeControlRequest } from '../../src/protocol/control-message.ts';
import { placements } from '../../src/protocol/sensor-description.ts';
import { buildReference, cCompiler, HarnessInput, runReference } from '../helpers/firmware-reference.ts';
import { ModelControl } from '../helpers/model-control.ts';
import { uniformFrom } from '../signal/simulated-sensor-clock.ts';
import { goal, type Prove } from './proof.ts';

export interface ControlFuzzFigures {
  readonly writes: number;
  /** Writes after which answer or port differed from the model's. */
  readonly different: number;
  /** How often each status was answered. */
  readonly statuses: Readonly<Record<string, number>>;
}

const settings = {
  rateMilliHz: 833_000,
  accelRangeMilliG: 16_000,
  gyroRangeMilliDps: 2_000_000,
  placement: 'ball',
} as const;
const offer = {
  ratesMilliHz: [104_000, 208_000, 416_000, 833_000, 1_666_000],
  accelRangesMilliG: [4_000, 8_000, 16_000, 32_000],
  gyroRangesMilliDps: [500_000, 1_000_000, 2_000_000, 4_000_000],
};
const mps2PerMilliG = 9.80665e-3;
const radpsPerMilliDps = Math.PI / 180e3;
const writesARun = 20_000;

/** The model with a port that logs as the harness does. */
function loggedModel(firstStartNumber: number) {
  const log: number[] = [];
  let broken = 0;
  const u32 = (value: number) => [value & 255, (value >>> 8) & 255, (value >>> 16) & 255, value >>> 24];
  const letter = (name: string) => name.charCodeAt(0);
  const model = new ModelControl(
    settings,
    offer,
    {
      apply: ({ rateMilliHz, accelRangeMilliG, gyroRangeMilliDps }) => {
        log.push(letter('a'), ...u32(rateMilliHz), ...u32(accelRangeMilliG), ...u32(gyroRangeMilliDps));
        return (broken & 1) === 0;
      },
      start: (startNumber) => {
        log.push(letter('s'), startNumber);
        return (broken & 2) === 0;
      },
      stop: () => void log.push(letter('e')),
      identify: (durationS) => {
        log.push(letter('i'), durationS);
        return (broken & 4) === 0;
      },
      rememberPlacement: (placement) => {
        log.push(letter('p'), placements.indexOf(placement));
        return (broken & 8) === 0;
      },
    },
    firstStartNumber,
  );
  const takeLog = () => log.splice(0);
  return {
    model,
    takeLog,
    setBroken: (bits: number) => {
      broken = bits;
    },
  };
}

/** A write as a host, a stranger or a broken host would send it. */
function drawWrite(uniform: () => number): Uint8Array {
  const upTo = (end: number) => Math.floor(end * uniform());
  const nonsense = (most: number) => Uint8Array.from({ length: upTo(most + 1) }, () => upTo(256));
  const kind = uniform();
  if (kind < 0.15) return nonsense(40);
  if (kind < 0.2) return nonsense(512);
  const bytes = drawRequest(uniform);
  if (kind < 0.7) return bytes;
  if (kind < 0.8) {
    bytes[upTo(bytes.length)]! ^= 1 << upTo(8);
    return bytes;
  }
  if (kind < 0.85) return bytes.slice(0, upTo(bytes.length));
  // A right checksum over a wrong content goes deeper than damage does.
  const at = upTo(bytes.length - 1);
  bytes[at] = [0, 1, 2, 127, 255, upTo(256)][upTo(6)]!;
  const changed = uniform() < 0.3 ? Uint8Array.of(...bytes, ...nonsense(20)) : bytes;
  changed[changed.length - 1] = crc8Register(changed, 0, changed.length - 1) ^ 0xff;
  return changed;
}

function drawRequest(uniform: () => number): Uint8Array {
  const upTo = (end: number) => Math.floor(end * uniform());
  const number = 1 + upTo(255);
  // Just what the sensor has, a little beside it, or anything, spread evenly over the decades.
  const pick = (offered: readonly number[], least: number, most: number): number => {
    const exact = offered[upTo(offered.length)]!;
    const drawn = uniform();
    if (drawn < 0.4) return exact;
    // The rate that is just 2 % above, and its neighbours.
    if (drawn < 0.5) return Math.round(exact / 0.98) + upTo(5) - 2;
    return drawn < 0.6 ? exact + upTo(7) - 3 : Math.round(least * (most / least) ** uniform());
  };
  switch (upTo(7)) {
    case 0:
    case 1:
      return encodeControlRequest({ kind: 'start' }, number);
    case 2:
      return encodeControlRequest({ kind: 'stop' }, number);
    case 3:
      return encodeControlRequest(
        { kind: 'set-rate', rateHz: pick(offer.ratesMilliHz, 1_000, 10_000_000) / 1e3 },
        number,
      );
    case 4:
      return encodeControlRequest(
        {
          kind: 'set-ranges',
          accelRangeMps2: uniform() < 0.3 ? null : pick(offer.accelRangesMilliG, 100, 1_000_000) * mps2PerMilliG,
          gyroRangeRadps:
            uniform() < 0.3 ? null : pick(offer.gyroRangesMilliDps, 1_000, 100_000_000) * radpsPerMilliDps,
        },
        number,
      );
    case 5:
      return encodeControlRequest({ kind: 'set-placement', placement: placements[upTo(4)]! }, number);
    default:
      return encodeControlRequest({ kind: 'identify', durationS: upTo(61) }, number);
  }
}

/** Writes at random, between random events of the radio, to the C reference and to the model. */
export function fuzzControl(program: string, writes: number, seed: number): ControlFuzzFigures {
  const uniform = uniformFrom(seed);
  const statuses: Record<string, number> = {};
  let different = 0;
  for (let done = 0; done < writes; done += writesARun) {
    const input = new HarnessInput();
    const expected: Uint8Array[] = [];
    const firstStartNumber = Math.floor(256 * uniform());
    const { model, takeLog, setBroken } = loggedModel(firstStartNumber);
    input.add('I', Uint8Array.of(firstStartNumber)).add('C');
    model.connect();
    for (let at = done; at < Math.min(done + writesARun, writes); at++) {
      const event = uniform();
      if (event < 0.05) {
        input.add('X').add('C');
        model.disconnect();
        model.connect();
      } else if (event < 0.25) {
        const on = uniform() < 0.5;
        input.add('U', Uint8Array.of(on ? 1 : 0));
        model.subscribe(on);
      } else if (event < 0.3) {
        const bits = uniform() < 0.5 ? 0 : Math.floor(16 * uniform());
        input.add('B', Uint8Array.of(bits));
        setBroken(bits);
      }
      const bytes = drawWrite(uniform);
      input.add('W', bytes);
      model.write(bytes);
      expected.push(Uint8Array.of(...model.read(), ...takeLog()));
    }
    const answers = runReference(program, input);
    if (answers.length !== expected.length)
      throw new Error(`expected ${expected.length} answers, ${answers.length} came`);
    for (const [at, answer] of answers.entries()) {
      if (Buffer.compare(answer, expected[at]!) !== 0) different += 1;
      const status = controlStatuses[answer[3]!] ?? `unknown ${answer[3]}`;
      statuses[status] = (statuses[status] ?? 0) + 1;
    }
  }
  return { writes, different, statuses };
}

/** A million control writes to the C reference under the address and undefined behaviour sanitizers, against the model. */
export const prove: Prove = async ({ seed, scale, say }) => {
  if (cCompiler === null) throw new Error('this proof needs gcc');
  const folder = mkdtempSync(path.join(os.tmpdir(), 'firmware-'));
  try {
    const figures = fuzzControl(buildReference(folder), Math.ceil(1_000_000 * scale), seed('control writes'));
    say(JSON.stringify(figures));
    const goals = [
      goal('writes', figures.writes, { atLeast: Math.ceil(1_000_000 * scale) }),
      goal('answers that differ from the model', figures.different, { atMost: 0 }),
      goal('statuses reached', Object.keys(figures.statuses).length, {
        atLeast: controlStatuses.length,
        atMost: controlStatuses.length,
      }),
    ];
    return { goals, ...figures };
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
};
