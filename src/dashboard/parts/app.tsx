import type { ReadonlySignal } from '@preact/signals';
import { useErrorBoundary } from 'preact/hooks';
import type { CoachingDesk } from '../coaching/coaching-desk.ts';
import { HelpDialog, HelpScreen } from '../help/help-dialog.tsx';
import type { ConnectionState } from '../live-connection.ts';
import type { LiveState } from '../live-state.ts';
import type { ShownSensor } from '../page-sensors.ts';
import type { PracticeDesk } from '../practice/practice-desk.ts';
import { ExportLater, ImportLater, LiveSignalsLater, SignalsLater } from '../research-screens.tsx';
import type { Route } from '../route.ts';
import { BenchScreen } from '../screens/bench-screen.tsx';
import { CoachingScreen } from '../screens/coaching-screen.tsx';
import { CompareScreen } from '../screens/compare-screen.tsx';
import { CourtScreen } from '../screens/court-screen.tsx';
import { DevicesScreen } from '../screens/devices-screen.tsx';
import { LiveScreen } from '../screens/live-screen.tsx';
import { PairScreen } from '../screens/pair-screen.tsx';
import { SessionScreen } from '../screens/session-screen.tsx';
import { SessionsScreen } from '../screens/sessions-screen.tsx';
import { SettingsScreen } from '../screens/settings-screen.tsx';
import { StartScreen } from '../screens/start-screen.tsx';
import type { CuePlayer } from '../sound/cue-player.ts';
import { texts } from '../texts.ts';
import { changeMark } from '../use-reread.ts';
import { Announcer } from './announcer.tsx';
import { Cautions, CautionsShort } from './cautions.tsx';
import { Header } from './header.tsx';
import { Navigation, type PageRole } from './navigation.tsx';

interface AppProps {
  readonly state: ReadonlySignal<LiveState>;
  readonly connection: ReadonlySignal<ConnectionState>;
  readonly needsReload: ReadonlySignal<boolean>;
  readonly held: ReadonlySignal<readonly ShownSensor[]>;
  readonly onConnect: () => void;
  readonly route: ReadonlySignal<Route>;
  readonly cues: CuePlayer;
  readonly desk: PracticeDesk;
  readonly role: ReadonlySignal<PageRole>;
  readonly coaching: CoachingDesk;
}

export function App(props: AppProps) {
  const { state, connection, needsReload, route } = props;
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
      {live.hello?.storageFailure !== undefined && (
        <p class="simulated" role="alert">
          <strong>{texts.notKept}</strong> <span>{live.hello.storageFailure}</span>
        </p>
      )}
      <Header connection={connection.value} needsReload={needsReload.value} isPairing={route.value.screen === 'pair'} />
      <Navigation route={route.value} role={props.role.value} />
      <main data-screen={route.value.screen}>
        <GuardedScreen key={route.value.screen} {...props} isStale={isStale} />
      </main>
      <CautionsShort />
      <Announcer state={live} />
      <HelpDialog />
    </>
  );
}

/** A screen that cannot be drawn says so, and leaves the others as they are. */
function GuardedScreen(props: AppProps & { readonly isStale: boolean }) {
  const [error, tryAgain] = useErrorBoundary() as readonly [unknown, () => void];
  if (error === undefined) return <ShownScreen {...props} />;
  const why = error instanceof Error ? error.message : String(error);
  return (
    <div class="screen-failed">
      <p role="alert" class="stale">
        {texts.screenFailed(why)}
      </p>
      <p>
        <button type="button" class="wide" onClick={tryAgain}>
          {texts.tryAgain}
        </button>
      </p>
    </div>
  );
}

function ShownScreen({
  state,
  route,
  held,
  onConnect,
  cues,
  desk,
  role,
  coaching,
  isStale,
}: AppProps & { readonly isStale: boolean }) {
  const shown = route.value;
  switch (shown.screen) {
    case 'court':
      return <CourtScreen state={state.value} isStale={isStale} cues={cues} role={role.value} />;
    case 'bench':
      return <BenchScreen state={state.value} desk={desk} />;
    case 'coaching':
      return <CoachingScreen state={state.value} desk={coaching} />;
    case 'devices':
      return <DevicesScreen />;
    case 'sessions':
      return <SessionsScreen state={state.value} />;
    case 'session':
      return <SessionScreen sessionId={shown.sessionId} state={state.value} />;
    case 'signals':
      return <SignalsLater sessionId={shown.sessionId} mark={changeMark(state.value, shown.sessionId)} />;
    case 'live-signals':
      return <LiveSignalsLater state={state.value} />;
    case 'import':
      return <ImportLater />;
    case 'export':
      return <ExportLater mark={changeMark(state.value, null)} />;
    case 'settings':
      return <SettingsScreen />;
    case 'start':
      return <StartScreen state={state.value} desk={desk} held={held} onConnect={onConnect} />;
    case 'help':
      return <HelpScreen />;
    case 'compare':
      return <CompareScreen state={state.value} desk={desk} />;
    case 'cautions':
      return <Cautions />;
    case 'pair':
      return <PairScreen code={shown.code} />;
    default:
      return <LiveScreen state={state.value} isStale={isStale} held={held} onConnect={onConnect} />;
  }
}
