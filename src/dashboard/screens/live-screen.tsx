import type { ReadonlySignal } from '@preact/signals';
import type { LiveState } from '../live-state.ts';
import type { ShownSensor } from '../page-sensors.ts';
import { Cautions } from '../parts/cautions.tsx';
import { ConnectSensor } from '../parts/connect-sensor.tsx';
import { LatestShot } from '../parts/latest-shot.tsx';
import { SensorList } from '../parts/sensor-list.tsx';
import { ShotList } from '../parts/shot-list.tsx';

interface LiveScreenProps {
  readonly state: LiveState;
  readonly isStale: boolean;
  readonly held: ReadonlySignal<readonly ShownSensor[]>;
  readonly onConnect: () => void;
}

/** Shots as they come, with all that is known of them. */
export function LiveScreen({ state, isStale, held, onConnect }: LiveScreenProps) {
  return (
    <>
      <LatestShot state={state} isStale={isStale} />
      <ShotList state={state} />
      <ConnectSensor source={state.hello?.source} held={held} onConnect={onConnect} />
      <SensorList sensors={state.sensors} rejected={state.lastRejected} />
      <Cautions />
    </>
  );
}
