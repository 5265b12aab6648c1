import { Fragment } from 'preact';
import { useState } from 'preact/hooks';
import type { ShotDocument } from '../../server/wire/live-document.ts';
import type { ShotMeasureName, WireShot } from '../../server/wire/shot-document.ts';
import { clockTime } from '../clock-time.ts';
import { HelpButton } from '../help/help-button.tsx';
import { isUnfinished, type LiveState, shownShots } from '../live-state.ts';
import { type MeasureFormat, measureFormats } from '../measures.ts';
import { userFormat } from '../settings/current-settings.ts';
import { contactTexts, measureLabels, pauseTexts, startTexts, texts } from '../texts.ts';
import { MeasureText } from './measure-text.tsx';
import { WideTable } from './wide-table.tsx';

/** Columns that always stand; the other measures are behind the button of each row. */
const columns: readonly ShotMeasureName[] = [
  'pickupToReleaseS',
  'backspinRps',
  'axisTiltDeg',
  'launchAngleDeg',
  'launchSpeedMps',
  'entryAngleDeg',
];
const groups: readonly MeasureFormat['group'][] = ['timing', 'spin', 'flight', 'hands', 'arm'];

export function ShotList({ state }: { readonly state: LiveState }) {
  const [openShotIds, setOpenShotIds] = useState<ReadonlySet<string>>(new Set());
  const toggle = (shotId: string): void => {
    const next = new Set(openShotIds);
    if (!next.delete(shotId)) next.add(shotId);
    setOpenShotIds(next);
  };
  const shots = shownShots(state);
  if (shots.length === 0) return null;
  return (
    <section class="shots" aria-labelledby="shots-title">
      <h2 id="shots-title">{texts.list}</h2>
      <p class="note">{texts.listNote}</p>
      {state.incomplete && <p class="note note-strong">{texts.incomplete}</p>}
      <WideTable label={texts.list}>
        <table>
          <thead>
            <tr>
              <th scope="col">{texts.columns.time}</th>
              <th scope="col" class="col-start">
                {texts.columns.start}
              </th>
              {columns.map((name) => (
                <th key={name} scope="col" class={`col-${name}`}>
                  {texts.labelWithUnit(measureLabels[name], userFormat(name).unit)}
                </th>
              ))}
              <th scope="col" class="col-contact">
                {texts.columns.contact}
              </th>
            </tr>
          </thead>
          <tbody>
            {shots.map((document) => (
              <ShotRows
                key={document.shotId}
                document={document}
                isOpen={openShotIds.has(document.shotId)}
                unfinished={isUnfinished(state, document)}
                onToggle={() => toggle(document.shotId)}
              />
            ))}
          </tbody>
        </table>
      </WideTable>
    </section>
  );
}

interface ShotRowsProps {
  readonly document: ShotDocument;
  readonly isOpen: boolean;
  readonly unfinished: boolean;
  readonly onToggle: () => void;
}

function ShotRows({ document, isOpen, unfinished, onToggle }: ShotRowsProps) {
  const { shot, shotId, at, court } = document;
  const time = clockTime(at);
  const detailsId = `details-${shotId}`;
  const isEarly = shot.stage === 'early';
  return (
    <Fragment>
      <tr class="shot" data-shot-id={shotId} data-stage={shot.stage}>
        <th scope="row">
          <button
            type="button"
            aria-expanded={isOpen}
            aria-controls={detailsId}
            aria-label={texts.showDetails(time)}
            onClick={onToggle}
          >
            {time}
          </button>
          {court !== undefined && <span class="note"> {court}</span>}
        </th>
        <td class="col-start">{startTexts[shot.startKind]}</td>
        {columns.map((name) => (
          <td key={name} class={`col-${name}`} data-label={measureLabels[name]}>
            <Cell shot={shot} name={name} />
          </td>
        ))}
        <td class="col-contact">
          {isEarly ? (unfinished ? texts.unfinished : texts.inFlight) : contactTexts[shot.contactKind]}
        </td>
      </tr>
      {isOpen && (
        <tr class="details" id={detailsId}>
          <td colSpan={columns.length + 3}>
            <Details shot={shot} />
          </td>
        </tr>
      )}
    </Fragment>
  );
}

/** A measure in a column: a missing one is a dash here, its reason stands in the details and in the tip. */
function Cell({ shot, name }: { readonly shot: WireShot; readonly name: ShotMeasureName }) {
  const measured = shot.measures[name];
  if (measured.value !== null) return <MeasureText measured={measured} format={userFormat(name)} bare />;
  return <MissingMark reason={measured.reason} />;
}

function MissingMark({ reason }: { readonly reason: string }) {
  return (
    <span class="missing" title={texts.reason(reason)}>
      <span aria-hidden="true">{texts.missingMark}</span>
      <span class="unseen">{texts.reason(reason)}</span>
    </span>
  );
}

function Details({ shot }: { readonly shot: WireShot }) {
  return (
    <div class="groups">
      {groups.map((group) => (
        <div key={group}>
          <h3>{texts.groups[group]}</h3>
          <dl>
            {measureFormats
              .filter((format) => format.group === group)
              .map((format) => (
                <div key={format.name}>
                  <dt>
                    {measureLabels[format.name]}
                    <HelpButton name={format.name} />
                  </dt>
                  <dd>
                    <MeasureText measured={shot.measures[format.name]} format={userFormat(format.name)} />
                    {format.name === 'pauseS' && shot.pauseAt && ` (${pauseTexts[shot.pauseAt]})`}
                  </dd>
                </div>
              ))}
          </dl>
        </div>
      ))}
    </div>
  );
}
