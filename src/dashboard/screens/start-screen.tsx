import type { ReadonlySignal } from '@preact/signals';
import { useEffect, useState } from 'preact/hooks';
import type { LiveState } from '../live-state.ts';
import type { ShownSensor } from '../page-sensors.ts';
import { ConnectSensor } from '../parts/connect-sensor.tsx';
import { SensorList } from '../parts/sensor-list.tsx';
import { PlayerForm } from '../practice/player-form.tsx';
import type { PracticeDesk } from '../practice/practice-desk.ts';
import { hrefOf } from '../route.ts';
import { UnitChoices } from '../settings/unit-choices.tsx';
import { firstSteps } from '../start/first-steps.ts';
import { MinutePanel } from '../start/minute-panel.tsx';

const steps = ['units', 'player', 'sensor', 'minute'] as const;

interface StartScreenProps {
  readonly state: LiveState;
  readonly desk: PracticeDesk;
  readonly held: ReadonlySignal<readonly ShownSensor[]>;
  readonly onConnect: () => void;
}

/** The first steps with the program, one after the other; each can be left out. */
export function StartScreen({ state, desk, held, onConnect }: StartScreenProps) {
  const [at, setAt] = useState(0);
  useEffect(() => void desk.refresh(), [desk]);
  const step = steps[at] ?? 'units';
  const isLast = at === steps.length - 1;
  return (
    <section class="start form" aria-labelledby="start-title">
      <h2 id="start-title">{firstSteps.title}</h2>
      <p class="note">{firstSteps.intro}</p>
      <ol class="step-list">
        {steps.map((name, index) => (
          <li key={name} aria-current={index === at ? 'step' : undefined}>
            <button type="button" onClick={() => setAt(index)}>
              {firstSteps.steps[name]}
            </button>
          </li>
        ))}
      </ol>
      <h3 aria-live="polite">{firstSteps.stepOf(at + 1, steps.length, firstSteps.steps[step])}</h3>
      <div class="step" data-step={step}>
        {step === 'units' && <UnitChoices />}
        {step === 'player' && <PlayerStep desk={desk} />}
        {step === 'sensor' && <SensorStep state={state} held={held} onConnect={onConnect} />}
        {step === 'minute' && (
          <>
            <p>{firstSteps.minuteText}</p>
            <MinutePanel state={state} />
          </>
        )}
      </div>
      <p class="step-buttons">
        {at > 0 && (
          <button type="button" class="wide" onClick={() => setAt(at - 1)}>
            {firstSteps.back}
          </button>
        )}
        {isLast ? (
          <>
            <a class="wide" href={hrefOf('court')}>
              {firstSteps.done}
            </a>
            <a class="wide" href={hrefOf('bench')}>
              {firstSteps.toBench}
            </a>
          </>
        ) : (
          <>
            <button type="button" class="wide step-next" onClick={() => setAt(at + 1)}>
              {firstSteps.next}
            </button>
            <a class="wide" href={hrefOf('court')}>
              {firstSteps.skipAll}
            </a>
          </>
        )}
      </p>
    </section>
  );
}

function PlayerStep({ desk }: { readonly desk: PracticeDesk }) {
  const { players } = desk.practice.value;
  return (
    <>
      <p>{firstSteps.playerText}</p>
      {players.length > 0 && (
        <p role="status">{firstSteps.playersHere(players.map(({ pseudonym }) => pseudonym).join(', '))}</p>
      )}
      <p role="alert" class="stale">
        {desk.trouble.value ?? ''}
      </p>
      <div class="panel">
        <PlayerForm desk={desk} />
      </div>
    </>
  );
}

function SensorStep({ state, held, onConnect }: Pick<StartScreenProps, 'state' | 'held' | 'onConnect'>) {
  return (
    <>
      <p>{state.hello?.simulated ? firstSteps.sensorSimulated : firstSteps.sensorText}</p>
      <ConnectSensor source={state.hello?.source} held={held} onConnect={onConnect} />
      {state.sensors.length === 0 ? (
        <p>{firstSteps.sensorNone}</p>
      ) : (
        <SensorList sensors={state.sensors} rejected={null} />
      )}
      <p class="note">{firstSteps.sensorCare}</p>
    </>
  );
}
