import type { ShotMeasureName } from '../../server/wire/shot-document.ts';
import { measureLabels } from '../texts.ts';
import { helpTexts } from './help-texts.ts';
import { openHelp } from './measure-help.ts';

/** Opens what a measure means, beside its name. */
export function HelpButton({ name }: { readonly name: ShotMeasureName }) {
  return (
    <button
      type="button"
      class="help-button"
      aria-haspopup="dialog"
      aria-label={helpTexts.about(measureLabels[name])}
      onClick={() => {
        openHelp.value = name;
      }}
    />
  );
}
