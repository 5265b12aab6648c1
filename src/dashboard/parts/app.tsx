import type { ReadonlySignal } from '@preact/signals';
import type { ConnectionState } from '../live-connection.ts';
import type { LiveState } from '../live-state.ts';
import type { ShownSensor } from '../page-sensors.ts';
import { texts } from '../texts.ts';
import { Announcer } from './announcer.tsx';
import { Cautions, CautionsShort } from './cautions.tsx';
import { ConnectSensor } from './connect-sensor.tsx';
import { Header } from './header.tsx';
import { LatestShot } from './latest-shot.tsx';
import { SensorList } from './sensor-list.tsx';
import { ShotList } from './shot-list.tsx';

interface AppProps {
  readonly state: ReadonlySignal<LiveState>;
  readonly connection: ReadonlySignal<ConnectionState>;
  readonly needsReload: ReadonlySignal<boolean>;
  readonly held: ReadonlySignal<readonly ShownSensor[]>;
  readonly onConnect: () => void;
}

export function App({ state, connection, needsReload, held, onConnect }: AppProps) {
  const live = state.value;
  const isStale = connection.value === 'lost';
  return (
    <>
      {/* What is simulated can be known only from the service; a page that has not heard of it yet shows no shots. */}
      {live.hello?.simulated && (
        <p class="simulated" role="note">
          <strong>{texts.simulated}</strong> <span>{texts.simulatedMore}</span>
        </p>
      )}
      <Header connection={connection.value} needsReload={needsReload.value} />
      <main>
        <LatestShot state={live} isStale={isStale} />
        <ShotList state={live} />
        <ConnectSensor source={live.hello?.source} held={held} onConnect={onConnect} />
        <SensorList sensors={live.sensors} rejected={live.lastRejected} />
        <Cautions />
      </main>
      <CautionsShort />
      <Announcer state={live} />
    </>
  );
}
