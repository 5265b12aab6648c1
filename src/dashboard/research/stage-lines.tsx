import { Fragment } from 'preact';
import { placeOf, type ViewedShot } from './shot-phases.ts';
import { researchTexts } from './texts.ts';
import { share, type ViewRange } from './view-range.ts';

const words = researchTexts.signals;

export interface ViewedMark {
  readonly id: string;
  readonly name: string;
  readonly timeS: number;
  /** One standard error. */
  readonly errorS: number;
}

interface StageLinesProps {
  readonly drawn: ViewRange;
  readonly shots: readonly ViewedShot[];
  readonly chosen: ViewedShot | null;
  readonly marks: readonly ViewedMark[];
  readonly gaps: readonly { readonly fromS: number; readonly untilS: number; readonly topPx: number }[];
}

/** What was found in the signals, as lines over them; bands are one standard error to either side. */
export function StageLines({ drawn, shots, chosen, marks, gaps }: StageLinesProps) {
  const isWithin = (timeS: number): boolean => timeS >= drawn.fromS && timeS <= drawn.fromS + drawn.spanS;
  const width = (spanS: number): string => `${((100 * spanS) / drawn.spanS).toFixed(5)}%`;
  return (
    <>
      {gaps.map(({ fromS, untilS, topPx }) => (
        <i
          key={`${topPx} ${fromS}`}
          class="gap-bar"
          title={words.gap}
          style={{ left: share(fromS, drawn), width: width(untilS - fromS), top: `calc(var(--band) + ${topPx}px)` }}
        />
      ))}
      {shots.map((shot) => {
        const release = shot.phases.find(({ phase }) => phase === 'release');
        const timeS = release ? placeOf(release) : null;
        if (timeS === null || shot === chosen || !isWithin(timeS)) return null;
        return <i key={shot.id} class="line line-other" style={{ left: share(timeS, drawn) }} />;
      })}
      {chosen?.phases.map(({ phase, automaticS, errorS, byHand }) => (
        <Fragment key={phase}>
          {automaticS !== null && (
            <>
              <i
                class={`line-error line-${phase}`}
                style={{ left: share(automaticS - (errorS ?? 0), drawn), width: width(2 * (errorS ?? 0)) }}
              />
              <i class={`line line-automatic line-${phase}`} style={{ left: share(automaticS, drawn) }} />
            </>
          )}
          {byHand !== null && <i class={`line line-hand line-${phase}`} style={{ left: share(byHand.timeS, drawn) }} />}
        </Fragment>
      ))}
      {marks
        .filter(({ timeS }) => isWithin(timeS))
        .map(({ id, name, timeS, errorS }) => (
          <Fragment key={id}>
            <i class="line-error line-mark" style={{ left: share(timeS - errorS, drawn), width: width(2 * errorS) }} />
            <i class="line line-mark" style={{ left: share(timeS, drawn) }}>
              <b>{name || words.markUnnamed}</b>
            </i>
          </Fragment>
        ))}
    </>
  );
}
