/** How often findings and verdicts are right on constructed players. Shares of 1. */
export interface ProvedRates {
  /** The state of the program that was measured. */
  readonly commit: string;
  /** Practices of 50 shots in which a fault was named: players without any, and with three measures at the very edge of one. */
  readonly faultlessNamed: number;
  readonly atEdgeNamed: number;
  /** Drills that changed nothing, told as changed or worse, by the kind of players. */
  readonly falseVerdicts: readonly { readonly players: string; readonly told: number }[];
  /** Drills worth so many spreads from shot to shot, told as changed. */
  readonly drillPower: readonly { readonly worth: number; readonly told: number }[];
  /** Drills that made it worse by so many, told as worse. */
  readonly worsePower: readonly { readonly by: number; readonly told: number }[];
  /** Players with one fault, so many spreads beyond its edge: whether it was named within so many shots. */
  readonly faultPower: readonly {
    readonly fault: string;
    readonly shots: number;
    readonly beyond: readonly { readonly spreads: number; readonly named: number }[];
  }[];
}

interface ProofFile {
  readonly commit: string;
  readonly figures: {
    readonly drills: readonly { readonly case: string; readonly changed: number; readonly worse: number }[];
    readonly watch: {
      readonly faultlessNamed: number;
      readonly atEdgeNamed: number;
      readonly power: readonly {
        readonly fault: string;
        readonly shots: number;
        readonly beyond: readonly { readonly spreadsBeyondEdge: number; readonly named: number }[];
      }[];
    };
  };
}

/**
 * Picks what the page tells out of the figures of the proof `coaching-verdicts`, when the page is built.
 *
 * @param file the proof's JSON. @throws Error where a rate is missing or no share of 1.
 */
export function readProvedRates(file: string): ProvedRates {
  const { commit, figures } = JSON.parse(file) as ProofFile;
  const share = (value: unknown, what: string): number => {
    if (typeof value === 'number' && value >= 0 && value <= 1) return value;
    throw new Error(
      `the proof coaching-verdicts gives ${JSON.stringify(value)} for ${what}: expected a share from 0 to 1; run the proof again`,
    );
  };
  const { drills, watch } = figures;
  const numbered = (pattern: RegExp) =>
    drills.flatMap((drill) => {
      const spreads = pattern.exec(drill.case)?.[1];
      return spreads === undefined ? [] : [{ ...drill, spreads: Number(spreads) }];
    });
  return {
    commit: commit.slice(0, 7),
    faultlessNamed: share(watch.faultlessNamed, 'faults of faultless players'),
    atEdgeNamed: share(watch.atEdgeNamed, 'faults of players at the edge'),
    falseVerdicts: drills
      .filter(({ case: name }) => name.startsWith('no change'))
      .map(({ case: players, changed, worse }) => ({ players, told: share(changed + worse, players) })),
    drillPower: numbered(/^worth ([\d.]+)$/).map((one) => ({ worth: one.spreads, told: share(one.changed, one.case) })),
    worsePower: numbered(/^worse by ([\d.]+)$/).map((one) => ({ by: one.spreads, told: share(one.worse, one.case) })),
    faultPower: watch.power.map(({ fault, shots, beyond }) => ({
      ...{ fault, shots },
      beyond: beyond.map(({ spreadsBeyondEdge: spreads, named }) => ({ spreads, named: share(named, fault) })),
    })),
  };
}
