import { useState } from 'preact/hooks';
import type { WireRotation } from '../../server/wire/practice-document.ts';
import { texts } from '../texts.ts';
import { agreedToRecord, type Practice, type PracticeDesk } from './practice-desk.ts';

interface PanelProps {
  readonly practice: Practice;
  readonly desk: PracticeDesk;
}

/** Players who shoot in turn, so many shots each. */
export function RoundPanel({ practice, desk }: PanelProps) {
  const [chosen, setChosen] = useState<readonly string[]>([]);
  const [shotsEach, setShotsEach] = useState('5');
  const eligible = practice.players.filter(agreedToRecord);
  const [sensorId, setSensorId] = useState('');
  const { rotations, sensors } = practice;
  if (practice.session === null || eligible.length < 2) return null;
  const toggle = (id: string): void =>
    setChosen(chosen.includes(id) ? chosen.filter((one) => one !== id) : [...chosen, id]);
  const start = (event: Event): void => {
    event.preventDefault();
    const body = { playerIds: chosen, shotsEach: Number(shotsEach), sensorId: sensorId === '' ? null : sensorId };
    void desk.change('POST', '/api/sessions/current/rotations', body).then((isDone) => isDone && setChosen([]));
  };
  return (
    <section class="panel" aria-labelledby="round-title">
      <h3 id="round-title">{texts.bench.round}</h3>
      {rotations.map((rotation) => (
        <RunningRound key={rotation.id} rotation={rotation} practice={practice} desk={desk} />
      ))}
      {rotations.length < Math.max(1, sensors.length) && (
        <details>
          <summary>{texts.bench.roundChoose}</summary>
          <form class="inline-form" onSubmit={start}>
            <div class="tap-list">
              {eligible.map(({ id, pseudonym }) => (
                <button key={id} type="button" aria-pressed={chosen.includes(id)} onClick={() => toggle(id)}>
                  {chosen.includes(id) ? `${chosen.indexOf(id) + 1}. ` : ''}
                  {pseudonym}
                </button>
              ))}
            </div>
            {sensors.length > 1 && (
              <label>
                {texts.bench.roundSensor}
                <select value={sensorId} onChange={(event) => setSensorId(event.currentTarget.value)}>
                  <option value="">{texts.bench.roundAnySensor}</option>
                  {sensors.map(({ id, label, placement }) => (
                    <option key={id} value={id}>
                      {texts.bench.shooterOf(texts.placements[placement] ?? placement, label)}
                    </option>
                  ))}
                </select>
              </label>
            )}
            <label>
              {texts.bench.roundEach}
              <input
                type="number"
                min="1"
                max="1000"
                required
                value={shotsEach}
                onInput={(event) => setShotsEach(event.currentTarget.value)}
              />
            </label>
            <button type="submit" disabled={chosen.length < 2}>
              {texts.bench.roundStart}
            </button>
          </form>
        </details>
      )}
    </section>
  );
}

function RunningRound({ rotation, practice, desk }: PanelProps & { readonly rotation: WireRotation }) {
  const { id, turn, shotsEach, shotsInTurn, nextPlayerId } = rotation;
  const name = practice.players.find((player) => player.id === nextPlayerId)?.pseudonym ?? texts.bench.nobody;
  const sensor = practice.sensors.find((one) => one.id === rotation.sensorId);
  const change = (body: object): void => void desk.change('PATCH', `/api/rotations/${encodeURIComponent(id)}`, body);
  return (
    <>
      <p class="round-now">{texts.bench.roundNext(name, shotsEach - shotsInTurn)}</p>
      {sensor && (
        <p class="note">
          {texts.bench.shooterOf(texts.placements[sensor.placement] ?? sensor.placement, sensor.label)}
        </p>
      )}
      <p class="inline-form">
        <button type="button" onClick={() => change({ turn: turn + 1 })}>
          {texts.bench.roundSkip}
        </button>
        <button type="button" onClick={() => change({ ended: true })}>
          {texts.bench.roundEnd}
        </button>
      </p>
    </>
  );
}
