import { WideTable } from '../parts/wide-table.tsx';
import { texts } from '../texts.ts';
import { provedRates } from './proved-rates.ts';

/** How often what the coaching says is wrong, and how often it sees what is there, as it was proved. */
export function RatesTable() {
  const words = texts.coaching.rates;
  const { commit, faultlessNamed, atEdgeNamed, falseVerdicts, drillPower, worsePower, faultPower } = provedRates;
  const spreads = faultPower[0]?.beyond.map((one) => one.spreads) ?? [];
  return (
    <>
      <p class="note">{words.intro(commit)}</p>
      <WideTable label={words.alarms}>
        <table class="stored wraps rates">
          <caption>{words.alarms}</caption>
          <tbody>
            <Row label={words.faultless} shares={[faultlessNamed]} />
            <Row label={words.atEdge} shares={[atEdgeNamed]} />
            {falseVerdicts.map(({ players, told }) => (
              <Row key={players} label={words.falseVerdict(words.cases[players] ?? players)} shares={[told]} />
            ))}
          </tbody>
        </table>
      </WideTable>
      <WideTable label={words.power}>
        <table class="stored wraps rates">
          <caption>{words.power}</caption>
          <tbody>
            {drillPower.map(({ worth, told }) => (
              <Row key={worth} label={words.drill(worth)} shares={[told]} />
            ))}
            {worsePower.map(({ by, told }) => (
              <Row key={`worse ${by}`} label={words.worse(by)} shares={[told]} />
            ))}
          </tbody>
        </table>
      </WideTable>
      <WideTable label={words.faultPower}>
        <table class="stored wraps rates">
          <caption>{words.faultPower}</caption>
          <thead>
            <tr>
              <th scope="col">{words.fault}</th>
              {spreads.map((count) => (
                <th key={count} scope="col">
                  {words.spreads(count)}
                </th>
              ))}
            </tr>
          </thead>
          <tbody>
            {faultPower.map(({ fault, shots, beyond }) => (
              <Row
                key={fault}
                label={words.faultWithin(words.faults[fault] ?? fault, shots)}
                shares={beyond.map(({ named }) => named)}
              />
            ))}
          </tbody>
        </table>
      </WideTable>
      <p class="note">{words.spreadNote}</p>
    </>
  );
}

function Row({ label, shares }: { readonly label: string; readonly shares: readonly number[] }) {
  return (
    <tr>
      <th scope="row">{label}</th>
      {shares.map((share, at) => (
        <td key={`${at}`}>{shownShare(share)}</td>
      ))}
    </tr>
  );
}

/** @returns a share in per cent; small ones with two decimals, so that none rounds to nothing. */
function shownShare(share: number): string {
  return `${(100 * share).toFixed(share > 0 && share < 0.1 ? 2 : 0)} %`;
}
