import type { BandPlace } from '../own-band.ts';
import { texts } from '../texts.ts';

const shapes: Readonly<Record<BandPlace, string>> = {
  inside: 'M4 9a8 8 0 1 0 16 0a8 8 0 1 0 -16 0',
  above: 'M12 1L22 18H2Z',
  below: 'M12 19L2 2H22Z',
  unsure: 'M12 0L22 10L12 20L2 10Z',
};

/** Where a number lies within the player's own usual range: told by shape and word, by colour only besides. */
export function PlaceMark({ place }: { readonly place: BandPlace }) {
  return (
    <span class={`place place-${place}`}>
      <svg viewBox="0 0 24 20" aria-hidden="true">
        <path d={shapes[place]} />
      </svg>
      {texts.court.bands[place]}
    </span>
  );
}
