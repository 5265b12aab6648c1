import { texts } from '../texts.ts';
import { agreedToRecord, emptyPractice, type Practice, type PracticeDesk } from './practice-desk.ts';

interface PanelProps {
  readonly practice: Practice;
  readonly desk: PracticeDesk;
}

/** For each sensor of the practice, the players as buttons: one tap and the shots are that player's from then on. */
export function ShooterPanel({ practice, desk }: PanelProps) {
  const { players, sensors } = practice;
  const eligible = players.filter(agreedToRecord);
  // Before the service has answered nobody knows whether there is one.
  const isRead = practice !== emptyPractice;
  return (
    <section class="panel" aria-labelledby="shooter-title">
      <h3 id="shooter-title">{texts.bench.shooter}</h3>
      {isRead && players.length === 0 && <p class="note">{texts.bench.noPlayer}</p>}
      {isRead && sensors.length === 0 && <p class="note">{texts.bench.noSensor}</p>}
      {sensors.map(({ id, label, placement, ownerPlayerId }) => {
        const give = (playerId: string | null): void =>
          void desk.change('PATCH', `/api/known-sensors/${encodeURIComponent(id)}`, { ownerPlayerId: playerId });
        return (
          <fieldset key={id} class="tap-list" data-sensor={id}>
            <legend>{texts.bench.shooterOf(texts.placements[placement] ?? placement, label)}</legend>
            {eligible.map((player) => (
              <button
                key={player.id}
                type="button"
                aria-pressed={player.id === ownerPlayerId}
                onClick={() => give(player.id)}
              >
                {player.pseudonym}
              </button>
            ))}
            <button type="button" aria-pressed={ownerPlayerId === null} onClick={() => give(null)}>
              {texts.bench.nobody}
            </button>
          </fieldset>
        );
      })}
      {players.length > 0 && <p class="note">{texts.bench.shooterNote}</p>}
      {sensors.some(({ placement }) => placement.startsWith('wrist') || placement === 'back-of-hand') && (
        <p class="note">{texts.bench.armCare}</p>
      )}
      <p class="note">{texts.bench.courtCare}</p>
    </section>
  );
}
