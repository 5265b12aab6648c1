import type { WireStudy, WireStudyResult } from '../../server/wire/coaching-document.ts';
import type { WirePlayer } from '../../server/wire/practice-document.ts';
import { TableHead } from '../parts/table-head.tsx';
import { WideTable } from '../parts/wide-table.tsx';
import { texts } from '../texts.ts';
import { ReportLinks } from './report-links.tsx';
import { nextSet } from './study-desk.ts';

interface StudyCardProps {
  readonly study: WireStudy;
  readonly players: readonly WirePlayer[];
  readonly result: WireStudyResult | undefined;
  readonly isChanging: boolean;
  readonly onStart: (row: number) => void;
  readonly onResult: () => void;
  readonly onClose: () => void;
}

/** A study: how far it is, what comes next, and what it says so far. */
export function StudyCard({ study, players, result, isChanging, onStart, onResult, onClose }: StudyCardProps) {
  const words = texts.coaching.studies;
  const { id, name, factor, conditions, blinded, levels, shotsASet, sets, order, closedS } = study;
  const planned = order.reduce((sum, row) => sum + row.length, 0);
  const next = closedS === null ? nextSet(study) : null;
  const perPlayer = study.rows / Math.max(1, study.playerIds.length);
  const shooter =
    next === null ? undefined : players.find((one) => one.id === study.playerIds[Math.floor(next.row / perPlayer)]);
  return (
    <article class="prescription" data-study={id}>
      <h4>{name}</h4>
      <p>
        {factor}: {conditions.map((condition) => words.condition(condition)).join(', ')}.{' '}
        {words.progress(sets.length, planned, shotsASet)} {blinded && levels === null && words.covered}
      </p>
      {next !== null && <p class="round-now">{words.next(next.condition, shooter?.pseudonym ?? '')}</p>}
      <div class="inline-form">
        {next !== null && (
          <button type="button" disabled={isChanging} onClick={() => onStart(next.row)}>
            {words.start}
          </button>
        )}
        <button type="button" onClick={onResult}>
          {words.ask}
        </button>
        {closedS === null && (
          <button type="button" disabled={isChanging} onClick={onClose}>
            {words.close}
          </button>
        )}
      </div>
      {result && <Result result={result} />}
      <ReportLinks path={`/api/studies/${encodeURIComponent(id)}/report`} of={words.report(name)} />
    </article>
  );
}

function Result({ result }: { readonly result: WireStudyResult }) {
  const words = texts.coaching.studies;
  return (
    <div role="status">
      {result.sentences.map((sentence) => (
        <p key={sentence}>{sentence}</p>
      ))}
      {result.makes.length > 0 && (
        <WideTable label={words.makes}>
          <table class="stored stacks" aria-label={words.makes}>
            <TableHead
              columns={(['condition', 'sets', 'made', 'score', 'exact'] as const).map(
                (column) => words.columns[column],
              )}
            />
            <tbody>
              {result.makes.map(({ condition, sets, makes, attempts, score95, exact95 }) => (
                <tr key={condition}>
                  <th scope="row">{condition}</th>
                  <td data-label={words.columns.sets}>{sets}</td>
                  <td data-label={words.columns.made}>{words.madeOf(makes, attempts)}</td>
                  <td data-label={words.columns.score}>{words.range(score95[0], score95[1])}</td>
                  <td data-label={words.columns.exact}>{words.range(exact95[0], exact95[1])}</td>
                </tr>
              ))}
            </tbody>
          </table>
        </WideTable>
      )}
      {result.cannotAnswer.length > 0 && (
        <>
          <h5>{words.cannot}</h5>
          <ul>
            {result.cannotAnswer.map((line) => (
              <li key={line}>{line}</li>
            ))}
          </ul>
        </>
      )}
      <details>
        <summary>{words.methods}</summary>
        {result.methods.map((line) => (
          <p class="note" key={line}>
            {line}
          </p>
        ))}
      </details>
    </div>
  );
}
