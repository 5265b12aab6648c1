import type { ShotDocument } from '../../server/wire/live-document.ts';
import { clockTime } from '../clock-time.ts';
import { isUnfinished, type LiveState, shownShots } from '../live-state.ts';
import { contactTexts, startTexts, texts } from '../texts.ts';
import { AxisLine, Figure } from './figure.tsx';

const figureNames = ['pickupToReleaseS', 'backspinRps', 'launchAngleDeg'] as const;
const stripShotCount = 20;

interface LatestShotProps {
  readonly state: LiveState;
  readonly isStale: boolean;
}

export function LatestShot({ state, isStale }: LatestShotProps) {
  const shots = shownShots(state);
  const [latest] = shots;
  const recent = shots.slice(0, stripShotCount).toReversed();
  return (
    <section class="latest" aria-labelledby="latest-title" data-stage={latest?.shot.stage ?? 'none'}>
      <div class="latest-head">
        <h2 id="latest-title">{latest ? texts.latestShot : texts.noShotYet}</h2>
        {latest ? (
          <ShotFacts document={latest} unfinished={isUnfinished(state, latest)} />
        ) : (
          <p>{texts.noShotYetMore}</p>
        )}
        {isStale && <p class="stale">{texts.staleNote}</p>}
      </div>
      <div class="figures">
        {figureNames.map((name) => (
          <Figure key={name} name={name} latest={latest} recent={recent}>
            {name === 'backspinRps' && latest ? <AxisLine shot={latest.shot} /> : null}
          </Figure>
        ))}
      </div>
      {recent.length > 1 && <p class="strip-note">{texts.stripMore}</p>}
    </section>
  );
}

function ShotFacts({ document, unfinished }: { readonly document: ShotDocument; readonly unfinished: boolean }) {
  const { shot, at, court } = document;
  return (
    <p class="facts">
      <time dateTime={at}>{clockTime(at)}</time>
      {court !== undefined && <span>{court}</span>}
      <span>{startTexts[shot.startKind]}</span>
      {shot.stage === 'final' && (
        <span>
          {texts.columns.contact}: {contactTexts[shot.contactKind]}
        </span>
      )}
      <span class="stage">
        <strong>{unfinished ? texts.unfinished : shot.stage === 'early' ? texts.first : texts.final}</strong>
        {unfinished ? `, ${texts.unfinishedMore}` : shot.stage === 'early' ? `, ${texts.firstMore}` : ''}
      </span>
    </p>
  );
}
