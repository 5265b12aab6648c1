/** Clauses about requests and answers. */
import { type ControlAnswer, type ControlStatus, decodeControlAnswer } from '../control-message.ts';
import type { SensorDescription } from '../sensor-description.ts';
import { type Clause, failed, type Judgement, notTested, passed, type ReadEvidence } from './clause.ts';
import type { ControlTrial, SeenAnswer } from './evidence.ts';

const where = 'gatt.md, Control';

export const controlClauses: readonly Clause[] = [
  {
    clause: 'control.answers',
    where,
    says: 'after every write the characteristic reads an answer of 20 bytes with a right checksum',
    judge: (seen) => {
      if (seen.answers === null) return notTested('there is no control');
      for (const answer of seen.answers) {
        const read = readAnswer(answer);
        if (typeof read === 'string') return failed(`${answer.trial}: ${read}`);
      }
      return passed(`${seen.answers.length} answers`);
    },
  },
  {
    clause: 'control.echo',
    where,
    says: 'an answer repeats request and request number; before the first request it says request 0, number 0, done',
    judge: (seen) =>
      ofAnswers(seen, null, (answer, { written, trial }) => {
        const code = written?.[1] ?? 0;
        const number = written?.[2] ?? 0;
        const came = `${answer.requestCode ?? 0}, number ${answer.requestNumber}`;
        if ((answer.requestCode ?? 0) !== code || answer.requestNumber !== number) {
          return `${trial}: request ${code}, number ${number} was answered as request ${came}`;
        }
        return trial === 'before-any' && answer.status !== 'done'
          ? `before any request it says ${answer.status}`
          : null;
      }),
  },
  statusClause('refuses-checksum', 'bad-checksum', ['malformed'], 'a request with a wrong checksum is malformed'),
  statusClause(
    'refuses-length',
    'wrong-length',
    ['malformed'],
    'a request with a length that is not its own is malformed',
  ),
  statusClause(
    'refuses-version',
    'unknown-version',
    ['unknown-version'],
    'a version that is not known is said to be so',
  ),
  statusClause(
    'refuses-request',
    'unknown-request',
    ['unknown-request'],
    'a request that is not known is said to be so',
  ),
  statusClause('refuses-value', 'impossible-value', ['impossible-value'], 'a rate of 0 is an impossible value'),
  statusClause('rate-streaming', 'set-rate-streaming', ['wrong-state'], 'the rate cannot be set while streaming'),
  statusClause('start-unsubscribed', 'start-unsubscribed', ['wrong-state'], 'without a subscription there is no start'),
  {
    clause: 'control.stop',
    where: 'gatt.md, States',
    says: 'stop stops the stream, and again changes nothing',
    judge: (seen) => {
      const silence = seen.silences.find(({ after }) => after === 'stop');
      if (seen.answers === null) return notTested('there is no control');
      if (silence === undefined) return notTested('it did not come to that');
      const { length } = silence.notifications;
      if (length > 0) return failed(`${length} notifications came afterwards`);
      return ofAnswers(seen, ['stop', 'stop-again'], (answer, { trial }) =>
        answer.status === 'done' && answer.state === 'idle' ? null : `${trial}: ${answer.status}, ${answer.state}`,
      );
    },
  },
  {
    clause: 'control.start',
    where: 'gatt.md, States',
    says: 'start goes on with the stream, and again changes nothing',
    judge: (seen) => {
      if (seen.answers === null) return notTested('there is no control');
      const start = seen.starts.find(({ by }) => by === 'request');
      if (start === undefined) return notTested('it did not come to that');
      if (start.notifications.length === 0) return failed('nothing came afterwards');
      return ofAnswers(seen, ['start', 'start-again'], (answer, { trial }) =>
        answer.status === 'done' && answer.state === 'streaming' ? null : `${trial}: ${answer.status}, ${answer.state}`,
      );
    },
  },
  keeps('rate', 'set-rate-idle', 'the rate that it has can be set while idle', (answer, description) =>
    near(answer.rateHz, description.accelRateHz) ? null : `it says ${answer.rateHz} Hz`,
  ),
  keeps('ranges', 'set-ranges-idle', 'the ranges that it has can be set while idle', (answer, description) => {
    const accel = near(answer.accelRangeMps2, description.accelRangeMps2);
    const gyro = near(answer.gyroRangeRadps ?? 0, description.gyroRangeRadps ?? 0);
    return accel && gyro ? null : 'it says other ranges';
  }),
  keeps('placement', 'set-placement', 'the placement that it has can be set', (answer, { placement }) =>
    answer.placement === placement ? null : `it says ${answer.placement}`,
  ),
  statusClause(
    'identify',
    'identify',
    ['done', 'impossible-value'],
    'it shows itself, or says that it has nothing to show itself with',
  ),
  {
    clause: 'control.settings',
    where,
    says: 'every answer says the settings that the description says',
    judge: (seen) => {
      const { description } = seen;
      if (description === null) return notTested('the description could not be read');
      return ofAnswers(seen, null, (answer, { trial }) => settingsProblem(answer, description, trial));
    },
  },
];

function statusClause(name: string, trial: ControlTrial, allowed: readonly ControlStatus[], says: string): Clause {
  const judge = (seen: ReadEvidence): Judgement =>
    ofAnswers(seen, [trial], ({ status }) => (allowed.includes(status) ? null : `it says ${status}`));
  return { clause: `control.${name}`, where, says, judge };
}

function keeps(
  name: string,
  trial: ControlTrial,
  says: string,
  problemOf: (answer: ControlAnswer, description: SensorDescription) => string | null,
): Clause {
  const judge = (seen: ReadEvidence): Judgement => {
    const { description } = seen;
    if (description === null) return notTested('the description could not be read');
    return ofAnswers(seen, [trial], (answer) =>
      answer.status === 'done' ? problemOf(answer, description) : `it says ${answer.status}`,
    );
  };
  return { clause: `control.${name}`, where, says, judge };
}

/** The trials after which an answer is judged by a clause of their own for these settings. */
const setBy: Partial<Record<ControlTrial, readonly string[]>> = {
  'set-rate-idle': ['rate'],
  'set-ranges-idle': ['ranges'],
  'set-placement': ['placement'],
};

function settingsProblem(answer: ControlAnswer, description: SensorDescription, trial: ControlTrial): string | null {
  const problems = {
    rate: near(answer.rateHz, description.accelRateHz),
    ranges:
      near(answer.accelRangeMps2, description.accelRangeMps2) &&
      near(answer.gyroRangeRadps ?? 0, description.gyroRangeRadps ?? 0),
    placement: answer.placement === description.placement,
  };
  const wrong = Object.entries(problems).find(([name, fits]) => !fits && !setBy[trial]?.includes(name));
  return wrong === undefined ? null : `${trial}: the answer's ${wrong[0]} is another`;
}

/** Judges answers that can be read; those that cannot have a clause of their own. */
function ofAnswers(
  { answers }: ReadEvidence,
  trials: readonly ControlTrial[] | null,
  problemOf: (answer: ControlAnswer, seen: SeenAnswer) => string | null,
): Judgement {
  if (answers === null) return notTested('there is no control');
  const problems: string[] = [];
  let judged = 0;
  for (const seen of answers) {
    if (trials !== null && !trials.includes(seen.trial)) continue;
    const answer = readAnswer(seen);
    if (typeof answer === 'string') continue;
    judged += 1;
    const problem = problemOf(answer, seen);
    if (problem !== null) problems.push(problem);
  }
  if (judged === 0) return notTested('there was no answer that could be read');
  return problems.length === 0 ? passed(judged === 1 ? 'it does' : `${judged} answers`) : failed(problems[0]!);
}

function readAnswer({ answer, problem }: SeenAnswer): ControlAnswer | string {
  if (answer === null) return problem ?? 'no answer';
  const decoded = decodeControlAnswer(answer);
  return decoded.kind === 'answer' ? decoded.answer : decoded.problem;
}

/** Equal but for the rounding to wire units. */
function near(one: number, other: number): boolean {
  return Math.abs(one - other) <= 1e-3 * Math.max(Math.abs(one), Math.abs(other));
}
