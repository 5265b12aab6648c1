import { plainText } from '../../devices/read-information.ts';
import type { ClauseResult } from '../../protocol/conformity/clause.ts';
import { judgeConformity } from '../../protocol/conformity/judge.ts';
import type { Surroundings } from '../surroundings.ts';
import { wrapText } from '../table/text-width.ts';
import { gatherEvidence } from './gather-evidence.ts';
import { deviceName, RadioDesk } from './radio-desk.ts';
import { WrongSensorError } from './wrong-sensor-error.ts';

export interface ConformWords {
  readonly profile?: readonly string[];
  readonly json?: true;
}

const outcomeWords = { pass: 'pass', fail: 'FAIL', 'not-tested': '–' } as const;

/**
 * Tests clause by clause whether a sensor speaks the protocol.
 *
 * @throws WrongSensorError when it breaks a clause.
 */
export async function conformSensor(id: string, words: ConformWords, surroundings: Surroundings): Promise<void> {
  const { stdout, stderr, widthColumns } = surroundings;
  const desk = await RadioDesk.open(surroundings, words);
  let name: string;
  let results: readonly ClauseResult[];
  try {
    const device = await desk.find(id);
    name = deviceName(device);
    const evidence = await gatherEvidence(desk, device, (text) => stderr.write(`${text}\n`));
    results = judgeConformity(evidence).map((result) => ({ ...result, seen: plainText(result.seen) ?? '' }));
  } finally {
    await desk.close();
  }
  const failed = results.filter(({ outcome }) => outcome === 'fail');
  const passed = results.filter(({ outcome }) => outcome === 'pass');
  const untested = results.length - failed.length - passed.length;
  const summary = `${passed.length} passed, ${failed.length} failed, ${untested} not tested`;
  if (words.json) {
    stdout.write(`${JSON.stringify({ sensor: name, conforms: failed.length === 0, results }, null, 2)}\n`);
  } else {
    const lines = results.flatMap(({ clause, where, says, outcome, seen }) => [
      `${outcomeWords[outcome].padEnd(6)}${clause}`,
      ...wrapText(outcome === 'pass' ? seen : `${seen} (${where}: ${says})`, widthColumns - 8).map(
        (line) => `        ${line}`,
      ),
    ]);
    stdout.write(`${[...lines, '', `${name}: ${summary}`].join('\n')}\n`);
  }
  if (failed.length > 0) throw new WrongSensorError(`${name} breaks ${failed.map(({ clause }) => clause).join(', ')}`);
}
