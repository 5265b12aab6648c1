import type { WireBlock, WirePrescription } from '../../server/wire/coaching-document.ts';
import type { ShotMeasureName } from '../../server/wire/shot-document.ts';
import { shownDate } from '../clock-time.ts';
import { bareNumber } from '../measures.ts';
import { TableHead } from '../parts/table-head.tsx';
import { WideTable } from '../parts/wide-table.tsx';
import { userFormat } from '../settings/current-settings.ts';
import { measureLabels, texts } from '../texts.ts';
import { DrillCard } from './drill-card.tsx';

const roles = ['baseline', 'drill', 'retest', 'retention'] as const;
export type BlockRole = (typeof roles)[number];

interface PrescriptionCardProps {
  readonly prescription: WirePrescription;
  /** Whether a practice runs in which a block could be shot. */
  readonly isPracticeOn: boolean;
  /** While a change is under way none of the buttons can be pressed. */
  readonly isChanging: boolean;
  readonly onStart: (role: BlockRole) => void;
  readonly onEndBlock: (block: WireBlock) => void;
  readonly onEnd: () => void;
}

/** A drill that was prescribed: its blocks, and what they prove so far. */
export function PrescriptionCard({
  prescription,
  isPracticeOn,
  isChanging,
  onStart,
  onEndBlock,
  onEnd,
}: PrescriptionCardProps) {
  const { id, drill, measure, blocks, verdict, plan, retention, withheld, endedS } = prescription;
  const words = texts.coaching;
  const running = blocks.find((block) => block.endedS === null);
  return (
    <article class="prescription" data-prescription={id}>
      <h4>
        {drill.title}: {measureLabels[measure as ShotMeasureName]}
      </h4>
      {verdict ? (
        <>
          <p class="verdict" data-verdict={verdict.verdict}>
            <strong>{words.verdicts[verdict.verdict]}</strong> {verdict.sentence}
          </p>
          {verdict.notes.map((note) => (
            <p class="note" key={note}>
              {note}
            </p>
          ))}
        </>
      ) : (
        <p class="note">{withheld ?? words.withheld}</p>
      )}
      {plan && (
        <p class="note">
          {plan.sentence} {plan.caution}
        </p>
      )}
      {retention && <p class="note">{retention.sentence}</p>}
      {blocks.length > 0 && <BlockTable blocks={blocks} measure={measure as ShotMeasureName} />}
      {endedS === null && (
        <div class="inline-form">
          {running ? (
            <button type="button" disabled={isChanging} onClick={() => onEndBlock(running)}>
              {words.endBlock}
            </button>
          ) : (
            roles.map((role) => (
              <button key={role} type="button" disabled={!isPracticeOn || isChanging} onClick={() => onStart(role)}>
                {words.startBlock(words.blocks[role])}
              </button>
            ))
          )}
          <button type="button" disabled={isChanging} onClick={onEnd}>
            {words.endPrescription}
          </button>
        </div>
      )}
      {endedS === null && !running && <p class="note">{isPracticeOn ? words.startsBlock : words.noPractice}</p>}
      <DrillCard drill={drill} />
    </article>
  );
}

function BlockTable({ blocks, measure }: { readonly blocks: readonly WireBlock[]; readonly measure: ShotMeasureName }) {
  const words = texts.coaching;
  const format = userFormat(measure);
  const mean = ({ mean: value, standardError }: WireBlock): string => {
    if (value === null || standardError === null) return words.notYet;
    const error = Math.max(standardError * format.scale, 10 ** -format.decimals).toFixed(format.decimals);
    return `${texts.withUnit(bareNumber(value, format), format.unit)} ${texts.plusMinus(error)}`;
  };
  return (
    <WideTable label={words.blocksTable}>
      <table class="stored stacks lines">
        <TableHead
          columns={(['role', 'start', 'shots', 'mean'] as const).map((column) => words.blockColumns[column])}
        />
        <tbody>
          {blocks.map((block) => (
            <tr key={block.id}>
              <th scope="row">{words.blocks[block.role]}</th>
              <td>{shownDate(block.startedS)}</td>
              <td>{words.measuredIn(block.measured, block.shots)}</td>
              <td data-label={words.blockColumns.mean}>{mean(block)}</td>
            </tr>
          ))}
        </tbody>
      </table>
    </WideTable>
  );
}
