import { useState } from 'preact/hooks';
import type { CalibrationDocument, FirstMinuteDocument } from '../../server/wire/calibration-document.ts';
import type { LiveState } from '../live-state.ts';
import { shownNumber } from '../locale/numbers.ts';
import { texts } from '../texts.ts';
import { firstSteps } from './first-steps.ts';
import { useGuide } from './sensor-socket.ts';

/** The guided minute with a sensor that sends, and the longer calibration that is kept. */
export function MinutePanel({ state }: { readonly state: LiveState }) {
  const sending = state.sensors.filter((sensor) => sensor.state === 'streaming');
  const [chosen, setChosen] = useState<string | null>(null);
  const [guide, setGuide] = useState<Guide | null>(null);
  if (state.hello?.simulated) return <p>{firstSteps.minuteSimulated}</p>;
  // A guide that runs stays when its sensor is lost: it says why.
  if (sending.length === 0 && guide === null) return <p>{firstSteps.sensorNone}</p>;
  const sensorId = guide?.sensorId ?? chosen ?? sending[0]?.sensorId ?? null;
  const begin = (kind: 'minute' | 'whole'): void => setGuide({ kind, sensorId, turn: (guide?.turn ?? 0) + 1 });
  return (
    <div class="minute">
      {sending.length > 1 && (
        <label>
          {firstSteps.minuteSensor}
          <select
            value={sensorId ?? ''}
            onChange={(event) => {
              setGuide(null);
              setChosen(event.currentTarget.value);
            }}
          >
            {sending.map((sensor) => (
              <option key={sensor.sensorId} value={sensor.sensorId}>
                {texts.sensorName(sensor.sensorId)}
              </option>
            ))}
          </select>
        </label>
      )}
      {guide?.kind === 'minute' && <Minute sensorId={sensorId} turn={guide.turn} />}
      <p class="step-buttons">
        <button type="button" class="wide" onClick={() => begin('minute')}>
          {guide?.kind === 'minute' ? firstSteps.minuteAgain : firstSteps.minuteStart}
        </button>
        {guide !== null && (
          <button type="button" class="wide" onClick={() => setGuide(null)}>
            {firstSteps.minuteStop}
          </button>
        )}
      </p>
      <details>
        <summary>{firstSteps.whole}</summary>
        <p>{firstSteps.wholeText}</p>
        {guide?.kind === 'whole' ? (
          <Whole sensorId={sensorId} turn={guide.turn} />
        ) : (
          <button type="button" class="wide" onClick={() => begin('whole')}>
            {firstSteps.wholeStart}
          </button>
        )}
      </details>
    </div>
  );
}

interface Guide {
  readonly kind: 'minute' | 'whole';
  readonly sensorId: string | null;
  /** Another one begins anew. */
  readonly turn: number;
}

interface GuideProps {
  readonly sensorId: string | null;
  readonly turn: number;
}

function Minute({ sensorId, turn }: GuideProps) {
  const { last, gone } = useGuide('first-minute', sensorId, turn);
  return (
    <div class="guide" data-step={last?.step ?? 'none'}>
      {last && (
        <>
          <p class="guide-act" role="status">
            {firstSteps.acts[last.step]}
          </p>
          <progress max="1" value={last.share} aria-label={firstSteps.acts[last.step]} />
          <Found found={last.found} />
          {last.troubles.map((trouble) => (
            <p key={trouble} class="stale" role="alert">
              {firstSteps.troubles[trouble]}
            </p>
          ))}
          {last.step === 'done' && <p>{firstSteps.minuteMore}</p>}
        </>
      )}
      {gone !== null && (
        <p class="stale" role="alert">
          {firstSteps.gone(gone)}
        </p>
      )}
    </div>
  );
}

function Found({ found }: { readonly found: FirstMinuteDocument['found'] }) {
  const { restErrorMps2, gyroBiasRadps, spinRadps, flightS, swings } = found;
  const words = firstSteps.found;
  const lines = [
    restErrorMps2 === null ? null : words.rest(shownNumber(Math.abs(restErrorMps2), 2)),
    gyroBiasRadps === null ? null : words.bias(shownNumber((Math.hypot(...gyroBiasRadps) * 180) / Math.PI, 2)),
    spinRadps === null ? null : words.spin(shownNumber(spinRadps / (2 * Math.PI), 1)),
    flightS === null ? null : words.flight(shownNumber(flightS, 2)),
    swings === null ? null : words.swings(swings),
  ];
  return <ul class="found">{lines.map((line, at) => (line === null ? null : <li key={at}>{line}</li>))}</ul>;
}

function Whole({ sensorId, turn }: GuideProps) {
  const { last, gone } = useGuide('calibration', sensorId, turn);
  return (
    <div class="guide" data-step={last?.step ?? 'none'}>
      {last && (
        <>
          <p class="guide-act" role="status">
            {actOf(last)}
          </p>
          <p>{cameOf(last)}</p>
          {last.kept !== undefined && (
            <p role="status">
              {last.kept === null
                ? firstSteps.keeping
                : last.kept
                  ? firstSteps.kept
                  : firstSteps.notKept(last.notKept ?? '')}
            </p>
          )}
        </>
      )}
      {gone !== null && (
        <p class="stale" role="alert">
          {firstSteps.gone(gone)}
        </p>
      )}
    </div>
  );
}

function actOf({ step, sidesMissing, checksLeft, turnsLeft }: CalibrationDocument): string {
  const words = firstSteps.wholeSteps;
  if (step === 'sides') return words.sides(sidesMissing.join(', '));
  if (step === 'checks') return words.checks(checksLeft);
  return step === 'turns' ? words.turns(turnsLeft) : words.done;
}

function cameOf({ last }: CalibrationDocument): string {
  if (last === null) return '';
  switch (last.kind) {
    case 'position':
      return firstSteps.taken.position(last.side);
    case 'check':
      return firstSteps.taken.check(shownNumber(Math.abs(last.errorMps2), 3));
    case 'turn':
      return firstSteps.turned(last.side, shownNumber(last.readDegrees, 1));
    case 'refused':
      return firstSteps.refused(last.why);
  }
}
