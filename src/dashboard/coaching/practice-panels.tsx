import type { WireLoad, WireSessionStudy } from '../../server/wire/coaching-document.ts';
import type { ShotMeasureName } from '../../server/wire/shot-document.ts';
import { bareNumber } from '../measures.ts';
import { TableHead } from '../parts/table-head.tsx';
import { WideTable } from '../parts/wide-table.tsx';
import { userFormat } from '../settings/current-settings.ts';
import { measureLabels, texts } from '../texts.ts';

/** Shots of day and week with the usual cautions. */
export function LoadPanel({ load }: { readonly load: WireLoad }) {
  const words = texts.coaching;
  return (
    <section class="panel" aria-labelledby="load-title">
      <h3 id="load-title">{words.load}</h3>
      <p>{words.loadWeek(load.shots7Days, load.days7, load.shots7DaysBefore)}</p>
      <ul>
        {load.cautions.map(({ code, text, source }) => (
          <li key={code}>
            {text} <span class="note">({source})</span>
          </li>
        ))}
      </ul>
      <p class="note">{words.noLimit}</p>
      {load.weeks.length > 0 && (
        <table class="stored">
          <TableHead columns={(['week', 'shots', 'days'] as const).map((column) => words.loadColumns[column])} />
          <tbody>
            {load.weeks.map(({ monday, shots, days }) => (
              <tr key={monday}>
                <th scope="row">{monday}</th>
                <td>{shots}</td>
                <td>{days}</td>
              </tr>
            ))}
          </tbody>
        </table>
      )}
    </section>
  );
}

/** Drift, consistency, the same shot from every start, and range. */
export function PracticeStudyPanel({ study }: { readonly study: WireSessionStudy }) {
  const words = texts.coaching;
  const told = study.consistency.filter(({ spread }) => spread !== null);
  return (
    <section class="panel" aria-labelledby="practice-study-title">
      <h3 id="practice-study-title">{words.practice}</h3>
      <Sentences
        title={words.drift}
        seen={study.drift.filter(({ direction }) => direction !== 'none-seen')}
        open={study.drift.filter(({ direction }) => direction === 'none-seen')}
      />
      <Sentences
        title={words.starts}
        seen={study.starts.filter(({ answer }) => answer !== 'open')}
        open={study.starts.filter(({ answer }) => answer === 'open')}
      />
      <Sentences title={words.range} seen={[study.range]} open={[]} />
      {told.length > 0 && (
        <>
          <h4 id="consistency-title">{words.consistency}</h4>
          <WideTable label={words.consistency}>
            <table class="stored wraps" aria-labelledby="consistency-title">
              <TableHead
                columns={(['measure', 'spread', 'interval', 'shots'] as const).map(
                  (column) => words.spreadColumns[column],
                )}
              />
              <tbody>
                {told.map(({ measure, spread, interval90, shots }) => {
                  const format = userFormat(measure as ShotMeasureName);
                  const plain = { ...format, decimals: format.decimals + 1 };
                  return (
                    <tr key={measure}>
                      <th scope="row">{measureLabels[measure as ShotMeasureName]}</th>
                      <td>{texts.withUnit(bareNumber(spread ?? 0, plain), format.unit)}</td>
                      <td>
                        {interval90 === null
                          ? words.notYet
                          : `${bareNumber(interval90[0], plain)} – ${bareNumber(interval90[1], plain)}`}
                      </td>
                      <td>{shots}</td>
                    </tr>
                  );
                })}
              </tbody>
            </table>
          </WideTable>
        </>
      )}
    </section>
  );
}

interface SentencesProps {
  readonly title: string;
  readonly seen: readonly { readonly sentence: string }[];
  /** Where nothing can be told yet: many lines that say so would hide the others. */
  readonly open: readonly { readonly sentence: string }[];
}

function Sentences({ title, seen, open }: SentencesProps) {
  if (seen.length + open.length === 0) return null;
  return (
    <>
      <h4>{title}</h4>
      {seen.map(({ sentence }) => (
        <p key={sentence}>{sentence}</p>
      ))}
      {open.length > 0 && (
        <details>
          <summary>{texts.coaching.openOf(open.length)}</summary>
          {open.map(({ sentence }) => (
            <p key={sentence} class="note">
              {sentence}
            </p>
          ))}
        </details>
      )}
    </>
  );
}
