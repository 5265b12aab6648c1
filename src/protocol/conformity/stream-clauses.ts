/** Clauses about notifications and starts. */
import { standardGravityMps2 } from '../../foundation/constants.ts';
import { maxPacketSpanS, type NotificationFrame } from '../notification.ts';
import type { SensorDescription } from '../sensor-description.ts';
import { type Clause, failed, type Judgement, notTested, passed, type ReadEvidence, type ReadStart } from './clause.ts';

const readme = (section: string) => `README.md, ${section}`;
/** Packets that the radio may have lost before the first one that came. */
const lostAtStart = 4;
/** Parts differ by several per cent from their nominal rate. */
const rateShare = 0.1;
const mostLostShare = 0.25;
/** Oscillators of motion chips are within a per cent or two of what they say. */
const tickUnitShare = 0.03;
/** A stamp that is taken with its row is within this share of a row of where the others say. */
const stampShare = 0.5;
/** So many stamps may be off: an interrupt may be held up now and then. */
const oddStampShare = 0.05;
/** |a| at rest: bias and scale error of ordinary parts. */
const gravityShare = 0.06;
/** A window at rest has |a| within this share of its mean, standard deviation. */
const restShare = 0.02;
const restWindowS = 0.5;
const leastStreamS = 2;

export const streamClauses: readonly Clause[] = [
  {
    clause: 'stream.starts',
    where: 'gatt.md, States',
    says: 'subscribing starts the stream',
    judge: ({ starts }) => {
      const silent = starts.filter(({ by, notifications }) => by === 'subscribing' && notifications.length === 0);
      return silent.length === 0 ? passed('notifications came') : failed('nothing came after subscribing');
    },
  },
  {
    clause: 'stream.decodes',
    where: readme('Notification'),
    says: 'every notification is one packet with right version, count, length and checksum',
    judge: ({ reads }) => {
      const all = reads.flatMap(({ decoded }) => decoded);
      if (all.length === 0) return notTested('nothing came');
      const corrupt = all.filter((each) => each.kind === 'corrupt');
      const [first] = corrupt;
      return first === undefined
        ? passed(`${all.length} notifications`)
        : failed(`${corrupt.length} of ${all.length} are none; the first: ${first.problem}`);
    },
  },
  {
    clause: 'stream.layout',
    where: readme('Sensor description'),
    says: 'packets have a gyroscope just where the description has one',
    judge: (seen) =>
      ofFrames(seen, (_, description) => {
        const axes = description.gyroRateHz === null ? 3 : 6;
        // Whether it stays so is another clause.
        const firsts = seen.reads.flatMap(({ frames }) => frames.slice(0, 1));
        const other = firsts.find((frame) => frame.axes !== axes);
        return other === undefined
          ? passed(`${axes} numbers a row`)
          : failed(`packet ${other.sequence} has ${other.axes} numbers a row, the description says ${axes}`);
      }),
  },
  {
    clause: 'stream.one-form',
    where: readme('Short form'),
    says: 'form and row layout stay the same from start to start',
    judge: ({ reads }) => {
      if (reads.every(({ frames }) => frames.length === 0)) return notTested('nothing came that could be read');
      for (const { frames } of reads) {
        const [first] = frames;
        const other = frames.find((frame) => frame.form !== first!.form || frame.axes !== first!.axes);
        if (other) return failed(`packet ${other.sequence} has another one than packet ${first!.sequence}`);
      }
      return passed([...new Set(reads.flatMap(({ frames }) => frames.map(({ form }) => form)))].join(', '));
    },
  },
  {
    clause: 'stream.span',
    where: readme('Rules for the sender'),
    says: 'a packet spans at most 25 ms at the nominal rate',
    judge: (seen) =>
      ofFrames(seen, (frames, { accelRateHz }) => {
        const most = Math.max(1, Math.floor(maxPacketSpanS * accelRateHz));
        const rows = Math.max(...frames.map(rowsOf));
        const text = `up to ${rows} rows at ${accelRateHz} Hz; ${most} are allowed`;
        return rows <= most ? passed(text) : failed(text);
      }),
  },
  {
    clause: 'stream.sequence',
    where: readme('Notification'),
    says: 'the sequence counts packets',
    judge: (seen) =>
      ofSteps(seen, ({ before, frame }) => {
        const step = (frame.sequence - before.sequence + 65_536) % 65_536;
        return step >= 1 && step < 32_768 ? null : `after packet ${before.sequence} came ${frame.sequence}`;
      }),
  },
  {
    clause: 'stream.sample-index',
    where: readme('Notification'),
    says: 'the sample index counts rows, also those that are lost',
    judge: (seen) =>
      seen.reads.every(({ frames }) => frames.every(({ form }) => form === 'short'))
        ? notTested('the short form has none')
        : ofSteps(seen, ({ before, frame }) => {
            if (frame.form === 'short') return null;
            const step = (frame.sampleIndex - before.sampleIndex + 2 ** 32) % 2 ** 32;
            const rows = rowsOf(before);
            const fits = step >= rows && step < 2 ** 31;
            return fits ? null : `${rows} rows began at ${before.sampleIndex}, the next at ${frame.sampleIndex}`;
          }),
  },
  {
    clause: 'stream.tick',
    where: readme('Rules for the sender'),
    says: 'the tick is read when the first row of the packet is taken',
    judge: (seen) => judgeTicks(seen.reads),
  },
  {
    clause: 'stream.tick-unit',
    where: readme('Sensor description'),
    says: 'a tick is as long as the description says',
    judge: (seen) =>
      ofLongest(seen, ({ frames, hostTimesS }, { tickUnitS }) => {
        const ticks = (frames.at(-1)!.tick - frames[0]!.tick + 2 ** 32) % 2 ** 32;
        const share = (ticks * tickUnitS) / hostSpan(hostTimesS) - 1;
        const text = `${(100 * share).toFixed(1)} % more ticks than time`;
        return Math.abs(share) <= tickUnitShare ? passed(text) : failed(text);
      }),
  },
  {
    clause: 'stream.rate',
    where: readme('Sensor description'),
    says: 'the nominal rate is the rate, to within 10 %',
    judge: (seen) =>
      ofLongest(seen, ({ frames, hostTimesS }, { accelRateHz }) => {
        // By rows that came, so that neither ticks nor indices are asked.
        const rows = frames.slice(0, -1).reduce((sum, frame) => sum + rowsOf(frame), 0);
        const missing = missingPackets(frames) / frames.length;
        // More than that are not the radio's losses but a sequence that does not count packets.
        const rateHz = (rows * (missing < mostLostShare ? 1 + missing : 1)) / hostSpan(hostTimesS);
        const text = `${rateHz.toFixed(1)} Hz, stated ${accelRateHz} Hz`;
        return Math.abs(rateHz / accelRateHz - 1) <= rateShare ? passed(text) : failed(text);
      }),
  },
  {
    clause: 'values.scale',
    where: readme('Sensor description'),
    says: 'at rest the accelerometer reads 1 g',
    judge: (seen) => ofLongest(seen, judgeGravity),
  },
  {
    clause: 'start.counters',
    where: readme('Rules for the sender'),
    says: 'sequence and sample index begin at 0 with every start',
    judge: ({ reads }) => {
      const begun = reads.filter(({ frames }) => frames.length > 0);
      if (begun.length === 0) return notTested('nothing came that could be read');
      for (const { by, frames, decoded } of begun) {
        const first = frames[0]!;
        const before = decoded.indexOf(decoded.find((each) => each.kind === 'frame')!);
        const most = lostAtStart + before;
        if (first.sequence > most || first.sampleIndex > most * 38) {
          return failed(`after ${by} packet ${first.sequence}, row ${first.sampleIndex} came first`);
        }
      }
      return passed(`${begun.length} starts`);
    },
  },
  {
    clause: 'start.number',
    where: readme('Rules for the sender'),
    says: 'the start number differs from that of the start before, and stays until the next',
    judge: ({ reads }) => {
      const full = reads
        .map(({ frames }) => frames.filter(({ form }) => form === 'full'))
        .filter((each) => each.length > 0);
      if (full.length === 0) return notTested('the short form has none');
      for (const frames of full) {
        const other = frames.find(({ startNumber }) => startNumber !== frames[0]!.startNumber);
        if (other) return failed(`it changed at packet ${other.sequence} of one start`);
      }
      if (full.length < 2) return notTested('there was only one start');
      const numbers = full.map((frames) => frames[0]!.startNumber);
      const again = numbers.findIndex((number, at) => at > 0 && number === numbers[at - 1]);
      return again < 0 ? passed(numbers.join(', ')) : failed(`${numbers.join(', ')}: number ${again + 1} is as before`);
    },
  },
  {
    clause: 'stop.unsubscribing',
    where: 'gatt.md, States',
    says: 'unsubscribing stops the stream',
    judge: ({ silences }) => {
      const silence = silences.find(({ after }) => after === 'unsubscribing');
      if (silence === undefined) return notTested('it did not come to that');
      const { length } = silence.notifications;
      return length === 0 ? passed('it does') : failed(`${length} notifications came afterwards`);
    },
  },
  {
    clause: 'start.reconnecting',
    where: 'gatt.md, States',
    says: 'after the end of a connection the sensor can be connected and streams again',
    judge: ({ reconnectProblem, starts }) => {
      if (reconnectProblem !== null) return failed(reconnectProblem);
      const again = starts.find(({ by }) => by === 'reconnecting');
      if (again === undefined) return notTested('it did not come to that');
      const first = starts.find(({ by }) => by === 'subscribing');
      if (first?.notifications.length === 0)
        return notTested('nothing came after subscribing for the first time either');
      return again.notifications.length > 0 ? passed('it does') : failed('it can be connected, but nothing came');
    },
  },
];

export function rowsOf({ samples, axes }: NotificationFrame): number {
  return samples.length / axes;
}

function ofFrames(
  { reads, description }: ReadEvidence,
  judge: (frames: readonly NotificationFrame[], description: SensorDescription) => Judgement,
): Judgement {
  const frames = reads.flatMap((start) => start.frames);
  if (frames.length === 0) return notTested('nothing came that could be read');
  if (description === null) return notTested('the description could not be read');
  return judge(frames, description);
}

interface Step {
  readonly before: NotificationFrame;
  readonly frame: NotificationFrame;
}

/** Judges each packet against the one before it. */
function ofSteps({ reads }: ReadEvidence, problemOf: (step: Step) => string | null): Judgement {
  const steps = reads.flatMap(({ frames }) => frames.slice(1).map((frame, at) => ({ before: frames[at]!, frame })));
  if (steps.length === 0) return notTested('no two packets came that could be read');
  const problems = steps.map(problemOf).filter((problem) => problem !== null);
  return problems.length === 0
    ? passed(`${steps.length + 1} packets`)
    : failed(`${problems[0]}; ${problems.length} of ${steps.length} times`);
}

function ofLongest(
  { reads, description }: ReadEvidence,
  judge: (start: ReadStart, description: SensorDescription) => Judgement,
): Judgement {
  if (description === null) return notTested('the description could not be read');
  const long = reads.filter(({ hostTimesS }) => hostTimesS.length > 10 && hostSpan(hostTimesS) >= leastStreamS);
  const longest = long.sort((one, other) => hostSpan(other.hostTimesS) - hostSpan(one.hostTimesS))[0];
  return longest === undefined
    ? notTested(`no ${leastStreamS} s of stream came that could be read`)
    : judge(longest, description);
}

function hostSpan(timesS: readonly number[]): number {
  return (timesS.at(-1) ?? 0) - (timesS[0] ?? 0);
}

function missingPackets(frames: readonly NotificationFrame[]): number {
  let missing = 0;
  for (let at = 1; at < frames.length; at++) {
    const step = (frames[at]!.sequence - frames[at - 1]!.sequence + 65_536) % 65_536;
    if (step > 1 && step < 100) missing += step - 1;
  }
  return missing;
}

function judgeTicks(reads: readonly ReadStart[]): Judgement {
  let odd = 0;
  let steps = 0;
  let example = '';
  for (const { frames } of reads) {
    // Neighbours by sequence, so that nothing has to be known of what is between them.
    const near = frames.slice(1).flatMap((frame, at) => {
      const before = frames[at]!;
      const next = (frame.sequence - before.sequence + 65_536) % 65_536 === 1;
      return next ? [{ before, ticks: (frame.tick - before.tick + 2 ** 32) % 2 ** 32, rows: rowsOf(before) }] : [];
    });
    if (near.length < 10) continue;
    const sorted = near.map(({ ticks, rows }) => ticks / rows).sort((one, other) => one - other);
    const usual = sorted[Math.floor(sorted.length / 2)]!;
    for (const { before, ticks, rows } of near) {
      steps += 1;
      if (Math.abs(ticks - rows * usual) <= stampShare * usual && usual > 0) continue;
      odd += 1;
      example ||= `after packet ${before.sequence} the tick went on by ${ticks}, usually by ${Math.round(rows * usual)}`;
    }
  }
  if (steps === 0) return notTested('too few packets came that could be read');
  const text = `${odd} of ${steps} stamps are off by more than half a row`;
  return odd <= oddStampShare * steps ? passed(text) : failed(`${text}: ${example}`);
}

function judgeGravity({ frames, hostTimesS }: ReadStart, description: SensorDescription): Judgement {
  const rateHz = frames.reduce((sum, frame) => sum + rowsOf(frame), 0) / hostSpan(hostTimesS);
  const sizes = frames.flatMap(({ samples, axes }) => {
    const rows: number[] = [];
    for (let at = 0; at < samples.length; at += axes) {
      rows.push(Math.hypot(samples[at]!, samples[at + 1]!, samples[at + 2]!) * description.accelScaleMps2PerLsb);
    }
    return rows;
  });
  const window = Math.max(8, Math.round(restWindowS * rateHz));
  const means: number[] = [];
  for (let from = 0; from + window <= sizes.length; from += window) {
    const values = sizes.slice(from, from + window);
    const mean = values.reduce((sum, each) => sum + each, 0) / window;
    const spread = Math.sqrt(values.reduce((sum, each) => sum + (each - mean) ** 2, 0) / window);
    if (mean > 0 && spread < restShare * mean) means.push(mean);
  }
  if (means.length < 2) return notTested('it did not lie still; lay it down and leave it for the test');
  const median = means.sort((one, other) => one - other)[Math.floor(means.length / 2)]!;
  const inG = median / standardGravityMps2;
  const text = `${inG.toFixed(3)} g`;
  return Math.abs(inG - 1) <= gravityShare ? passed(text) : failed(text);
}
