import { sizeText } from '../../server/practice/keep-recordings.ts';
import type { ClubStore } from '../../sessions/database/club-store.ts';
import type { Mark } from '../../sessions/database/mark-records.ts';
import type { Session, SessionLine, SetWithFactors } from '../../sessions/database/session-records.ts';
import type { StoredShot } from '../../sessions/database/shot-records.ts';
import type { Surroundings } from '../surroundings.ts';
import { shotLines } from '../table/analysis-text.ts';
import { layOutTable } from '../table/text-width.ts';
import { findOne } from './open-club.ts';

/** Sessions that are looked through for the beginning of an id. */
const searched = 1000;

/** A session with what its recording takes. */
export interface SizedSession extends SessionLine {
  /** Null without a recording. */
  readonly recordingBytes: number | null;
}

/** @throws UsageError when no session or more than one fits. */
export async function findSession(store: ClubStore, word: string): Promise<Session> {
  const sessions = await store.sessions.list({ limit: searched });
  const [newest] = sessions;
  if (word === 'last' && newest) return newest;
  return findOne('session', sessions, word, ({ name }) => name);
}

export function withoutClub<Row extends { readonly club_id: string }>({
  club_id: _,
  ...row
}: Row): Omit<Row, 'club_id'> {
  return row;
}

export function listText(lines: readonly SizedSession[], { widthColumns }: Surroundings): string {
  if (lines.length === 0) return 'No sessions yet. "seamwise serve" keeps one whenever a sensor sends.\n';
  const column = (title: string, cell: (line: SizedSession) => string) => ({ title, cells: lines.map(cell) });
  const table = layOutTable(
    column('started', (line) => instantText(line.started_s, line.time_zone)),
    [
      column('min', ({ started_s, ended_s }) => (ended_s === null ? 'runs' : ((ended_s - started_s) / 60).toFixed(0))),
      column('shots', ({ shotCount }) => String(shotCount)),
      column('sets', ({ setCount }) => String(setCount)),
      column('recording', ({ recordingBytes }) => (recordingBytes === null ? '–' : sizeText(recordingBytes))),
      column('name', ({ name }) => name),
      column('', ({ simulated, starred }) =>
        [simulated ? 'simulated' : '', starred ? 'starred' : ''].filter(Boolean).join(', '),
      ),
      column('id', ({ id }) => id),
    ],
    widthColumns,
  );
  return `${table.join('\n')}\n`;
}

export async function showText(
  store: ClubStore,
  session: Session,
  shots: readonly StoredShot[],
  sets: readonly SetWithFactors[],
  marks: readonly Mark[],
  { widthColumns }: Surroundings,
): Promise<string> {
  const names = new Map((await store.players.list()).map(({ id, pseudonym }) => [id, pseudonym]));
  const head = [
    `${session.name || 'Session'} of ${instantText(session.started_s, session.time_zone)}, ${shots.length} shots${session.simulated ? ', simulated' : ''}`,
  ];
  for (const [index, set] of sets.entries()) head.push(setLine(index + 1, set, names, session.time_zone));
  for (const mark of marks) head.push(markLine(mark, session.time_zone));
  if (shots.length === 0) return `${head.join('\n')}\n`;
  const column = (title: string, cell: (shot: StoredShot, index: number) => string) => ({
    title,
    cells: shots.map(cell),
  });
  const told = layOutTable(
    column('shot', (_, index) => String(index + 1)),
    [
      column('at', ({ at_s }) => instantText(at_s, session.time_zone).slice(11)),
      column('player', ({ player_id }) => (player_id === null ? '–' : (names.get(player_id) ?? '–'))),
      column('outcome', ({ outcome, miss_side }) => [outcome, miss_side ?? ''].filter(Boolean).join(' ')),
    ],
    widthColumns,
  );
  const measured = shotLines({ shots: shots.map(({ result }) => result.shot) }, widthColumns);
  return `${[...head, '', ...told, '', ...measured].join('\n')}\n`;
}

function setLine(number: number, set: SetWithFactors, names: ReadonlyMap<string, string>, timeZone: string): string {
  const { total_made, total_attempted, player_id, distance_m } = set;
  const parts = [
    `${set.kind}${set.name === '' ? '' : ` "${set.name}"`}`,
    player_id === null ? '' : (names.get(player_id) ?? ''),
    set.spot,
    distance_m === null ? '' : `${distance_m} m`,
    ...set.factors.map(({ factor, level }) => `${factor} = ${level}`),
    total_made === null || total_attempted === null ? '' : `${total_made} of ${total_attempted}`,
  ];
  return `set ${number}  ${instantText(set.started_s, timeZone).slice(11)}  ${parts.filter(Boolean).join(', ')}`;
}

function markLine({ at_s, uncertainty_s, origin, name }: Mark, timeZone: string): string {
  const ms = (1000 * uncertainty_s).toFixed(uncertainty_s < 0.01 ? 1 : 0);
  const how = { key: 'by key', api: 'by a program', taps: 'three taps', hand: 'by hand' }[origin];
  const instant = `${instantText(at_s, timeZone).slice(11)}${(at_s % 1).toFixed(3).slice(1)}`;
  return `mark  ${instant} ± ${ms} ms  ${[how, name].filter(Boolean).join(', ')}`;
}

/** @returns date and time of a clock on the wall there, `2026-11-25 14:03:07`. */
export function instantText(atS: number, timeZone: string): string {
  const format = new Intl.DateTimeFormat('sv-SE', { timeZone, dateStyle: 'short', timeStyle: 'medium' });
  return format.format(new Date(atS * 1000));
}
