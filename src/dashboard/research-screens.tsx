import { Later } from './parts/later.tsx';

/** The researcher's screens, with the drawing of signals, are loaded when one of them is opened. */
const signals = async () => (await import('./research/signals-screen.tsx')).SignalsScreen;
const recordings = async () => (await import('./research/import-screen.tsx')).ImportScreen;
const exports = async () => (await import('./research/export-screen.tsx')).ExportScreen;
const analysis = async () => (await import('./research/analysis-panel.tsx')).AnalysisPanel;

export function SignalsLater({ sessionId }: { readonly sessionId: string }) {
  return <Later load={signals} props={{ sessionId }} />;
}

export function ImportLater() {
  return <Later load={recordings} props={{}} />;
}

export function ExportLater() {
  return <Later load={exports} props={{}} />;
}

export function AnalysisLater(props: { readonly sessionId: string; readonly onChanged: () => void }) {
  return <Later load={analysis} props={props} />;
}
