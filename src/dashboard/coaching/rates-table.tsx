import { texts } from '../texts.ts';
import { provedRates } from './proved-rates.ts';

/** How often what this screen says is wrong, as it was proved: at hand wherever a finding or verdict is told. */
export function RatesTable() {
  const words = texts.coaching.rates;
  const share = (value: number): string => `${(100 * value).toFixed(value < 0.1 ? 2 : 0)} %`;
  return (
    <details class="panel">
      <summary>{words.title}</summary>
      <p class="note">{words.intro}</p>
      <div class="wide-table">
        <table class="stored">
          <tbody>
            <tr>
              <th scope="row">{words.faultless}</th>
              <td>{share(provedRates.faultlessNamed)}</td>
            </tr>
            <tr>
              <th scope="row">{words.atEdge}</th>
              <td>{share(provedRates.atEdgeNamed)}</td>
            </tr>
            {provedRates.falseVerdicts.map(({ players, told }) => (
              <tr key={players}>
                <th scope="row">{words.falseVerdict(words.cases[players])}</th>
                <td>{share(told)}</td>
              </tr>
            ))}
            {provedRates.drillPower.map(({ worth, told }) => (
              <tr key={worth}>
                <th scope="row">{words.drill(worth)}</th>
                <td>{share(told)}</td>
              </tr>
            ))}
          </tbody>
        </table>
      </div>
    </details>
  );
}
