import type { WireKeptSensor } from '../../server/wire/practice-document.ts';
import { texts } from '../texts.ts';
import { agreedToRecord, emptyPractice, type Practice, type PracticeDesk } from './practice-desk.ts';

interface PanelProps {
  readonly practice: Practice;
  readonly desk: PracticeDesk;
  /** Of the sensors that the service hears of now. */
  readonly hereIds: ReadonlySet<string>;
}

/** For each sensor of the practice, the players as buttons: one tap and the shots are that player's from then on. */
export function ShooterPanel({ practice, desk, hereIds }: PanelProps) {
  const { players, sensors } = practice;
  // Before the service has answered nobody knows whether there is one.
  const isRead = practice !== emptyPractice;
  const here = sensors.filter(({ id }) => hereIds.has(id));
  // A sensor of last week must not push today's out of sight; where none is heard of, as on a hub, all are alike.
  const [first, away] = here.length > 0 ? [here, sensors.filter(({ id }) => !hereIds.has(id))] : [sensors, []];
  return (
    <section class="panel" aria-labelledby="shooter-title">
      <h3 id="shooter-title">{texts.bench.shooter}</h3>
      {isRead && players.length === 0 && <p class="note">{texts.bench.noPlayer}</p>}
      {isRead && sensors.length === 0 && <p class="note">{texts.bench.noSensor}</p>}
      {first.map((sensor) => (
        <ShooterChoice key={sensor.id} sensor={sensor} practice={practice} desk={desk} />
      ))}
      {away.length > 0 && (
        <details class="away-sensors">
          <summary>{texts.bench.awaySensors(away.length)}</summary>
          {away.map((sensor) => (
            <ShooterChoice key={sensor.id} sensor={sensor} practice={practice} desk={desk} />
          ))}
        </details>
      )}
      {players.length > 0 && <p class="note">{texts.bench.shooterNote}</p>}
      {sensors.some(({ placement }) => placement.startsWith('wrist') || placement === 'back-of-hand') && (
        <p class="note">{texts.bench.armCare}</p>
      )}
      <p class="note">{texts.bench.courtCare}</p>
    </section>
  );
}

interface ChoiceProps extends Pick<PanelProps, 'practice' | 'desk'> {
  readonly sensor: WireKeptSensor;
}

function ShooterChoice({ sensor: { id, label, placement, ownerPlayerId }, practice, desk }: ChoiceProps) {
  const give = (playerId: string | null): void =>
    void desk.change('PATCH', `/api/known-sensors/${encodeURIComponent(id)}`, { ownerPlayerId: playerId });
  return (
    <fieldset class="tap-list" data-sensor={id}>
      <legend>{texts.bench.shooterOf(texts.placements[placement] ?? placement, label)}</legend>
      {practice.players.filter(agreedToRecord).map((player) => (
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
}
