import type { ProvedRates } from './read-proved-rates.ts';

/** Put in when the page is built, from the figures of the last proof. */
declare const provedRatesAtBuild: ProvedRates;

/** How often findings and verdicts are right, as `npm run prove -- coaching-verdicts` measured it last. */
export const provedRates: ProvedRates = provedRatesAtBuild;
