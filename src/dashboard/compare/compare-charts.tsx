import type { CompareDocument } from '../../server/wire/compare-document.ts';
import { shownNumber } from '../locale/numbers.ts';
import { bareNumber, type MeasureFormat } from '../measures.ts';
import { TableHead } from '../parts/table-head.tsx';
import { WideTable } from '../parts/wide-table.tsx';
import {
  acrossX,
  dotsAcross,
  pictureWidth,
  rowHeight,
  type Scale,
  scaleOfSides,
  ticksOf,
  trendHeight,
  trendOfSide,
  upY,
} from './compare-picture.ts';
import { compareTexts } from './compare-texts.ts';

interface ChartsProps {
  readonly document: CompareDocument;
  readonly names: readonly [string, string];
  readonly format: MeasureFormat;
  readonly label: string;
}

/** Two groups of shots: how they lie, how they went, and the same numbers as tables. */
export function CompareCharts({ document, names, format, label }: ChartsProps) {
  const sides = [document.one, document.two] as const;
  const scale = scaleOfSides(sides, format.scale, format.leastSpan);
  return (
    <>
      {scale !== null && (
        <>
          <Distribution sides={sides} names={names} format={format} label={label} scale={scale} />
          <p class="note">{compareTexts.legend}</p>
        </>
      )}
      <SideTable sides={sides} names={names} format={format} />
      {scale !== null && (
        <>
          <h3>{compareTexts.trend(label)}</h3>
          <TrendOfBoth sides={sides} names={names} format={format} label={label} scale={scale} />
          <p class="note">{compareTexts.legendTrend}</p>
          <details>
            <summary>{compareTexts.table}</summary>
            <ShotTable sides={sides} names={names} format={format} />
          </details>
        </>
      )}
    </>
  );
}

interface PartProps {
  readonly sides: readonly [CompareDocument['one'], CompareDocument['two']];
  readonly names: readonly [string, string];
  readonly format: MeasureFormat;
}

interface PictureProps extends PartProps {
  readonly label: string;
  readonly scale: Scale;
}

function Distribution({ sides, names, format, label, scale }: PictureProps) {
  const height = 2 * rowHeight + 30;
  return (
    <svg
      class="picture compare-picture"
      viewBox={`0 0 ${pictureWidth} ${height}`}
      role="img"
      aria-label={compareTexts.chart(label)}
    >
      {ticksOf(scale).map((value) => (
        <g key={value}>
          <path class="picture-rule" d={`M${acrossX(scale, value)} 8V${height - 26}`} />
          <text x={acrossX(scale, value)} y={height - 8} text-anchor="middle">
            {shownNumber(value, decimalsOf(scale.step))}
          </text>
        </g>
      ))}
      {sides.map((side, at) => {
        const middleY = 8 + rowHeight * (at + 0.58);
        const x = (value: number): number => acrossX(scale, value * format.scale);
        return (
          <g key={names[at]} class={at === 0 ? 'side-one' : 'side-two'}>
            <text class="side-name" x="8" y={8 + rowHeight * at + 16}>
              {names[at]}
            </text>
            {side.quartiles && (
              <rect
                class="side-half"
                x={x(side.quartiles[0])}
                y={middleY - 12}
                width={Math.max(1, x(side.quartiles[1]) - x(side.quartiles[0]))}
                height="24"
              />
            )}
            {dotsAcross(side, scale, format.scale, middleY).map((dot) => (
              <g key={dot.at}>
                <path class="side-error" d={`M${dot.low} ${dot.y}H${dot.high}`} />
                <circle class="side-dot" cx={dot.x} cy={dot.y} r="2.75" />
              </g>
            ))}
            {side.median !== null && (
              <path class="side-median" d={`M${x(side.median)} ${middleY - 22}V${middleY + 22}`} />
            )}
            {side.interval90 && (
              <path
                class="side-interval"
                d={`M${x(side.interval90[0])} ${middleY - 26}V${middleY - 18}M${x(side.interval90[0])} ${middleY - 22}H${x(side.interval90[1])}M${x(side.interval90[1])} ${middleY - 26}V${middleY - 18}`}
              />
            )}
          </g>
        );
      })}
    </svg>
  );
}

function TrendOfBoth({ sides, names, format, label, scale }: PictureProps) {
  const places = Math.max(...sides.map(({ shots }) => shots.length));
  return (
    <svg
      class="picture compare-picture"
      viewBox={`0 0 ${pictureWidth} ${trendHeight}`}
      role="img"
      aria-label={compareTexts.trend(label)}
    >
      {ticksOf(scale).map((value) => (
        <g key={value}>
          <path class="picture-rule" d={`M50 ${upY(scale, value)}H${pictureWidth}`} />
          <text x="44" y={upY(scale, value) + 4} text-anchor="end">
            {shownNumber(value, decimalsOf(scale.step))}
          </text>
        </g>
      ))}
      {sides.map((side, at) => {
        const { dots, line } = trendOfSide(side, scale, format.scale, places);
        return (
          <g key={names[at]} class={at === 0 ? 'side-one' : 'side-two'}>
            <path class="side-line" d={line} />
            {dots.map((dot) => (
              <g key={dot.at}>
                <path class="side-error" d={`M${dot.x} ${dot.low}V${dot.high}`} />
                <circle class="side-dot" cx={dot.x} cy={dot.y} r="3.25" />
              </g>
            ))}
          </g>
        );
      })}
      {Array.from({ length: places }, (_, at) => at + 1)
        .filter((number) => number === 1 || number % Math.max(1, Math.ceil(places / 10)) === 0)
        .map((number) => (
          <text
            key={number}
            x={56 + ((pictureWidth - 72) * (number - 0.5)) / places}
            y={trendHeight - 8}
            text-anchor="middle"
          >
            {number}
          </text>
        ))}
    </svg>
  );
}

function SideTable({ sides, names, format }: PartProps) {
  const words = compareTexts.columns;
  const pair = (ends: readonly [number, number] | null): string =>
    ends === null ? compareTexts.none : `${bareNumber(ends[0], format)} – ${bareNumber(ends[1], format)}`;
  return (
    <WideTable label={compareTexts.title}>
      <table class="stored stacks">
        <TableHead columns={Object.values(words)} />
        <tbody>
          {sides.map((side, at) => (
            <tr key={names[at]}>
              <th scope="row">{names[at]}</th>
              <td data-label={words.shots}>{compareTexts.counted(side.count, side.shotCount)}</td>
              <td data-label={words.practices}>{side.practices}</td>
              <td data-label={words.median}>
                {side.median === null ? compareTexts.none : bareNumber(side.median, format)}
              </td>
              <td data-label={words.interval}>{pair(side.interval90)}</td>
              <td data-label={words.half}>{pair(side.quartiles)}</td>
            </tr>
          ))}
        </tbody>
      </table>
    </WideTable>
  );
}

function ShotTable({ sides, names, format }: PartProps) {
  const rows = Math.max(...sides.map(({ shots }) => shots.length));
  return (
    <WideTable label={compareTexts.table}>
      <table class="stored">
        <thead>
          <tr>
            <th scope="col">{compareTexts.shotColumns.number}</th>
            {names.map((name) => (
              <th key={name} scope="col">
                {compareTexts.shotColumns.value(name)}
              </th>
            ))}
          </tr>
        </thead>
        <tbody>
          {Array.from({ length: rows }, (_, at) => (
            <tr key={at}>
              <th scope="row">{at + 1}</th>
              {sides.map(({ shots, id }) => {
                const shot = shots[at];
                const text =
                  shot?.value == null
                    ? '–'
                    : `${bareNumber(shot.value, format)} ± ${shownNumber(Math.max((shot.standardError ?? 0) * format.scale, 10 ** -format.decimals), format.decimals)}`;
                return <td key={id}>{text}</td>;
              })}
            </tr>
          ))}
        </tbody>
      </table>
    </WideTable>
  );
}

function decimalsOf(step: number): number {
  return Math.max(0, -Math.floor(Math.log10(step) + 1e-9));
}
