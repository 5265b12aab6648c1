import type { LiveState } from './live-state.ts';
import { Later } from './parts/later.tsx';

/** The researcher's screens, with the drawing of signals, are loaded when one of them is opened. */
const signals = async () => (await import('./research/signals-screen.tsx')).SignalsScreen;
const liveSignals = async () => (await import('./research/live/live-signals-screen.tsx')).LiveSignalsScreen;
const recordings = async () => (await import('./research/import-screen.tsx')).ImportScreen;
const exports = async () => (await import('./research/export-screen.tsx')).ExportScreen;
const analysis = async () => (await import('./research/analysis-panel.tsx')).AnalysisPanel;

export function SignalsLater(props: { readonly sessionId: string; readonly mark: string }) {
  return <Later load={signals} props={props} />;
}

export function LiveSignalsLater(props: { readonly state: LiveState }) {
  return <Later load={liveSignals} props={props} />;
}

export function ImportLater() {
  return <Later load={recordings} props={{}} />;
}

export function ExportLater(props: { readonly mark: string }) {
  return <Later load={exports} props={props} />;
}

export function AnalysisLater(props: {
  readonly sessionId: string;
  readonly mark: string;
  readonly onChanged: () => void;
}) {
  return <Later load={analysis} props={props} />;
}
