import type { ReadonlySignal } from '@preact/signals';
import type { WireSource } from '../../server/wire/live-document.ts';
import type { ShownSensor } from '../page-sensors.ts';
import { heldStateTexts, texts } from '../texts.ts';

interface ConnectSensorProps {
  readonly source: WireSource | undefined;
  readonly held: ReadonlySignal<readonly ShownSensor[]>;
  readonly onConnect: () => void;
}

/** How the source of notifications does, and where it is this page's browser, the way to connect a sensor. */
export function ConnectSensor({ source, held, onConnect }: ConnectSensorProps) {
  if (!source) return null;
  const isBrowser = source.kind === 'browser';
  const isUnavailable = source.state === 'unavailable';
  if (!isBrowser && !isUnavailable && source.detail === null) return null;
  return (
    <section class="source" aria-labelledby="source-title" data-source={source.kind} data-state={source.state}>
      <h2 id="source-title">{texts.source}</h2>
      {source.detail !== null && <p>{source.detail}</p>}
      {source.remedy !== null && <p>{source.remedy}</p>}
      {isBrowser && (
        <button type="button" class="connect-sensor" onClick={onConnect}>
          {texts.connectSensor}
        </button>
      )}
      <ul>
        {held.value.map(({ slot, name, state, why }) => (
          <li key={slot} data-held={state}>
            <strong>{name}</strong> <span>{heldStateTexts[state]}</span>
            {why !== null && <span> {why}</span>}
          </li>
        ))}
      </ul>
    </section>
  );
}
