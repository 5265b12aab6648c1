import type { Logger } from '../../foundation/logger.ts';
import type { ClubStore } from '../../sessions/database/club-store.ts';
import type { EditedTable, MadeChange } from '../../sessions/database/edit-log.ts';
import type { outcomes } from '../../sessions/database/tables.ts';
import type { LiveHub } from '../live-hub.ts';
import type { ChangeDocument } from '../wire/live-document.ts';

export const topics: Readonly<Record<EditedTable, ChangeDocument['topic']>> = {
  player: 'player',
  consent: 'player',
  sensor: 'sensor',
  session: 'session',
  shot_set: 'set',
  set_factor: 'set',
  shot: 'shot',
  rotation: 'round',
  rotation_player: 'round',
  mark: 'mark',
  time_correction: 'shot',
  club_choice: 'club',
  player_target: 'coaching',
  best_set: 'coaching',
  own_drill: 'coaching',
  prescription: 'coaching',
  proof_block: 'coaching',
  load_entry: 'coaching',
  study: 'coaching',
  study_set: 'coaching',
};

/**
 * Tells every page what people change, once it is on the disk: the topics to be read anew, shots whose player or outcome were put
 * right, and who the players are.
 */
export async function tellChanges(store: ClubStore, hub: LiveHub, logger: Logger): Promise<void> {
  // One after the other, so that an older roster never comes after a newer one.
  let rosters = Promise.resolve();
  const tellRoster = (): Promise<void> => {
    rosters = rosters
      .then(async () => hub.setRoster(await rosterOf(store)))
      .catch((error: unknown) => {
        const why = error instanceof Error ? error.message : String(error);
        logger.error({ why }, 'pages could not be told who the players are');
      });
    return rosters;
  };
  store.edits.listen((made) => {
    for (const { table, after } of made.rows) {
      if (table !== 'shot' || after === null || typeof after.told_id !== 'string') continue;
      hub.tellShotAgain(after.told_id, {
        playerId: after.player_id as string | null,
        outcome: after.outcome as (typeof outcomes)[number],
      });
    }
    for (const { topic, sessionId } of topicsOf(made)) hub.tellChange(topic, sessionId);
    if (made.rows.some(({ table }) => table === 'player' || table === 'consent')) void tellRoster();
  });
  await tellRoster();
}

/** @returns each topic once, with the session where the rows of the topic name one and no other. */
function topicsOf({ rows }: MadeChange): { topic: ChangeDocument['topic']; sessionId: string | null }[] {
  const named = new Map<ChangeDocument['topic'], Set<string>>();
  for (const { table, id, before, after } of rows) {
    const topic = topics[table];
    const sessions = named.get(topic) ?? new Set();
    named.set(topic, sessions);
    const sessionId = table === 'session' ? id : (after ?? before)?.session_id;
    if (typeof sessionId === 'string') sessions.add(sessionId);
  }
  return [...named].map(([topic, sessions]) => {
    const [only = null, other] = sessions;
    return { topic, sessionId: other === undefined ? only : null };
  });
}

/** @returns who the players are. */
export async function rosterOf({ players }: ClubStore) {
  const list = await players.list();
  return Promise.all(
    list.map(async ({ id, pseudonym, hand }) => {
      const consents = await players.consents(id);
      const display = consents.some(({ scope, withdrawn_s }) => scope === 'display' && withdrawn_s === null);
      return { id, name: pseudonym, hand, display };
    }),
  );
}
