import type { MeasureFormat } from '../measures.ts';
import type { BandPlace } from '../own-band.ts';
import { texts } from '../texts.ts';

const shapes: Readonly<Record<BandPlace, string>> = {
  inside: 'M4 9a8 8 0 1 0 16 0a8 8 0 1 0 -16 0',
  above: 'M12 1L22 18H2Z',
  below: 'M12 19L2 2H22Z',
  unsure: 'M12 0L22 10L12 20L2 10Z',
};

/** Where a number lies within the player's own usual range: told by shape and word, by colour only besides. */
export function PlaceMark({ place, sides }: { readonly place: BandPlace; readonly sides: MeasureFormat['sides'] }) {
  return (
    <span class={`place place-${place}`}>
      <svg viewBox="0 0 24 20" aria-hidden="true">
        <path d={shapes[place]} />
      </svg>
      {wordsOf(place, sides)}
    </span>
  );
}

/** Of a number whose sign is a side, more and less would say nothing: 14° right is less than 10° right. */
function wordsOf(place: BandPlace, sides: MeasureFormat['sides']): string {
  if (!sides || place === 'inside' || place === 'unsure') return texts.court.bands[place];
  return texts.court.bandFurther(texts.sides[sides][place === 'above' ? 'positive' : 'negative']);
}
