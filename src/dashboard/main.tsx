import { computed, effect, signal } from '@preact/signals';
import { render } from 'preact';
import { ask } from './api.ts';
import { CoachingDesk } from './coaching/coaching-desk.ts';
import { type ConnectionState, LiveConnection, type LiveSocket } from './live-connection.ts';
import { applyDocument, emptyState } from './live-state.ts';
import { useLanguage } from './locale/catalogue.ts';
import { type FeedSocket, PageSensors, type ShownSensor } from './page-sensors.ts';
import { App } from './parts/app.tsx';
import type { PageRole } from './parts/navigation.tsx';
import { PracticeDesk } from './practice/practice-desk.ts';
import { hrefOf, routeOf } from './route.ts';
import { currentSettings } from './settings/current-settings.ts';
import { CuePlayer } from './sound/cue-player.ts';
import { isFirstRun } from './start/is-first-run.ts';
import type { WebBluetooth } from './web-bluetooth.ts';
import './styles/page.css';
import './styles/bench.css';
import './styles/coaching.css';
import './styles/court.css';
import './styles/figures.css';
import './styles/forms.css';
import './styles/shot-list.css';
import './styles/start.css';
import './styles/tables.css';
import './styles/compare.css';

const state = signal(emptyState);
const connectionState = signal<ConnectionState>('connecting');
const newerService = signal(false);
const held = signal<readonly ShownSensor[]>([]);

const { bluetooth } = navigator as { readonly bluetooth?: WebBluetooth };
const pageSensors = new PageSensors({
  bluetooth,
  openFeed() {
    const url = new URL('/api/sensor-feed', window.location.href);
    url.protocol = url.protocol === 'https:' ? 'wss:' : 'ws:';
    return new WebSocket(url) as FeedSocket;
  },
  onChange: (sensors) => {
    held.value = sensors;
  },
});

const connection = new LiveConnection({
  open(since) {
    const url = new URL('/api/live', window.location.href);
    url.protocol = url.protocol === 'https:' ? 'wss:' : 'ws:';
    if (since !== null) url.searchParams.set('since', String(since));
    return new WebSocket(url) as LiveSocket;
  },
  since: () => state.value.since,
  onDocument: (document) => {
    state.value = applyDocument(state.value, document);
    // A service that takes sensors from a page waits for its feed.
    if (document.kind === 'hello' && document.source?.kind === 'browser') pageSensors.start();
  },
  onState: (next) => {
    connectionState.value = next;
  },
  onNewerService: () => {
    newerService.value = true;
  },
  setTimer: (callback, delayMs) => window.setTimeout(callback, delayMs),
  clearTimer: (timer) => window.clearTimeout(timer),
  random: Math.random,
});

// A browser slows the timers of a page in the background.
document.addEventListener('visibilitychange', () => {
  if (document.visibilityState === 'visible') connection.retryNow();
});
window.addEventListener('online', () => connection.retryNow());

const needsReload = computed(() => {
  const { hello, firstVersion } = state.value;
  return newerService.value || (hello !== null && firstVersion !== null && hello.version !== firstVersion);
});

const route = signal(routeOf(window.location.hash));
window.addEventListener('hashchange', () => {
  route.value = routeOf(window.location.hash);
  window.scrollTo(0, 0);
});
effect(() => {
  document.documentElement.dataset.theme = currentSettings.value.theme;
});
// A device of the network that was not let in has nothing to see before it is.
const role = signal<PageRole>(null);
void ask<{ readonly role: PageRole }>('GET', '/api/access/me').then(async (answer) => {
  if (!answer.ok) return;
  role.value = answer.value.role;
  if (answer.value.role === null && route.value.screen !== 'pair') window.location.hash = hrefOf('pair');
  const canBegin = answer.value.role === 'host' || answer.value.role === 'coach';
  if (canBegin && window.location.hash === '' && (await isFirstRun())) window.location.hash = hrefOf('start');
});
const cues = new CuePlayer();
const desk = new PracticeDesk(ask);
const coaching = new CoachingDesk(ask);

if (currentSettings.value.language === 'pseudo') {
  const { pseudoTranslation } = await import('./locale/pseudo-locale.ts');
  useLanguage('en', pseudoTranslation());
}
if ('serviceWorker' in navigator && window.isSecureContext) {
  // Where it cannot be, the page works all the same while the service is there.
  navigator.serviceWorker.register('/offline.js').catch(() => {});
}
const root = document.getElementById('page');
if (!root) throw new Error('the page has no element #page to stand in');
const onConnect = (): void => void pageSensors.connectOne();
render(
  <App
    state={state}
    connection={connectionState}
    needsReload={needsReload}
    held={held}
    onConnect={onConnect}
    route={route}
    cues={cues}
    desk={desk}
    role={role}
    coaching={coaching}
  />,
  root,
);
connection.start();
