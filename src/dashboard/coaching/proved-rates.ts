/**
 * How often findings and verdicts are right, as `npm run prove -- coaching-verdicts` measured it on constructed players; a test holds these
 * rows to that file. Shares of 1.
 */
export const provedRates = {
  /** Practices of 50 shots in which a fault was named: players without any, and with three measures at the very edge of one. */
  faultlessNamed: 0.001,
  atEdgeNamed: 0.0047,
  /** Drills that changed nothing, told as changed or worse. */
  falseVerdicts: [
    { players: 'no change', told: 0.0004 },
    { players: 'no change, chosen for a bad practice', told: 0.001 },
    { players: 'no change, slow drift to the better', told: 0.0043 },
    { players: 'no change, slow drift to the worse', told: 0.0027 },
    { players: 'no change, days and shots hang together most', told: 0.0083 },
  ],
  /** Drills worth this many spreads from shot to shot, told as changed. */
  drillPower: [
    { worth: 1, told: 0.332 },
    { worth: 1.5, told: 0.8215 },
    { worth: 2, told: 0.975 },
  ],
} as const;
