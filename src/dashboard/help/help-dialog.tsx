import { useEffect, useRef } from 'preact/hooks';
import type { MeasureHelp } from '../../server/wire/measure-help.ts';
import type { ShotMeasureName } from '../../server/wire/shot-document.ts';
import { RatesTable } from '../coaching/rates-table.tsx';
import { measureFormats } from '../measures.ts';
import { hrefOf } from '../route.ts';
import { userFormat } from '../settings/current-settings.ts';
import { measureLabels, texts } from '../texts.ts';
import { helpTexts } from './help-texts.ts';
import { measureHelp, openHelp, readHelp } from './measure-help.ts';

/** The help of one measure over the screen, closed by Escape, its button or a link in it. */
export function HelpDialog() {
  const dialog = useRef<HTMLDialogElement>(null);
  const name = openHelp.value;
  useEffect(() => {
    if (name === null) dialog.current?.close();
    else {
      void readHelp();
      if (dialog.current?.open === false) dialog.current.showModal();
    }
  }, [name]);
  const close = (): void => {
    openHelp.value = null;
  };
  return (
    <dialog ref={dialog} class="help-dialog" aria-labelledby="help-title" onClose={close}>
      {name !== null && (
        <>
          <h2 id="help-title">{measureLabels[name]}</h2>
          <MeasureWords name={name} />
          <p class="note">{helpTexts.errors}</p>
          <p class="step-buttons">
            <button type="button" class="wide" onClick={close}>
              {helpTexts.close}
            </button>
            <a href={hrefOf('help')} onClick={close}>
              {helpTexts.all}
            </a>
          </p>
        </>
      )}
    </dialog>
  );
}

/** Every measure with its help, to be read through. */
export function HelpScreen() {
  useEffect(() => void readHelp(), []);
  return (
    <section class="help-screen" aria-labelledby="help-screen-title">
      <h2 id="help-screen-title">{helpTexts.title}</h2>
      <p class="note">{helpTexts.errors}</p>
      <div class="help-measures">
        {measureFormats.map(({ name }) => (
          <article key={name} data-measure={name}>
            <h3>{measureLabels[name]}</h3>
            <MeasureWords name={name} />
          </article>
        ))}
      </div>
      <h2>{texts.coaching.rates.title}</h2>
      <RatesTable />
    </section>
  );
}

function MeasureWords({ name }: { readonly name: ShotMeasureName }) {
  const help = measureHelp.value;
  if (help === null) return <p>…</p>;
  if ('trouble' in help) {
    return (
      <p role="alert" class="stale">
        {help.trouble}
      </p>
    );
  }
  const words = help.measures.find((one) => one.name === name);
  return words ? <Words words={words} /> : <p>{texts.missing}</p>;
}

function Words({ words }: { readonly words: MeasureHelp }) {
  const { unit } = userFormat(words.name);
  const lines = [
    [helpTexts.definition, words.definition],
    [helpTexts.unit, unit],
    [helpTexts.limits, words.limits],
    [helpTexts.knows, helpTexts.sensors[words.sensors]],
    [helpTexts.method, words.method],
    ...(words.caution === undefined ? [] : [[helpTexts.caution, words.caution]]),
  ] as const;
  return (
    <dl class="help-words" data-from="service">
      {lines.map(([term, text]) => (
        <div key={term}>
          <dt>{term}</dt>
          <dd>{text}</dd>
        </div>
      ))}
    </dl>
  );
}
