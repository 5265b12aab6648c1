import type {
  WireDrill,
  WireDrills,
  WireFinding,
  WireLoad,
  WirePlayerCoaching,
  WirePrescription,
  WireSessionStudy,
  WireStudyResult,
  WireTargets,
  WireVerdict,
} from '../../server/wire/coaching-document.ts';
import { catalogue } from '../locale/catalogue.ts';

/**
 * What the service words: faults, drills, verdicts, load and studies stand in English in its documents, since its printed reports say
 * the same. All of it goes through these, each with the names and numbers that the words were made of, so that another language makes its
 * own of them. What people wrote themselves (own drills, notes, names) does not.
 */
export const servedWords = catalogue('coaching words of the service', {
  fault: ({ title }: WireDrills['faults'][number]) => title,
  stage: ({ inWords, source }: WirePlayerCoaching['stage']) => ({ inWords, source }),
  coachingNotes: ({ notes }: WirePlayerCoaching) => notes,
  finding: ({ title, saw, confidence, seenBy, notSeenBy, otherExplanations, source }: WireFinding) => ({
    ...{ title, saw, confidence, seenBy, notSeenBy, otherExplanations, source },
  }),
  drill: ({ title, purpose, setUp, steps, progressions, cautions, source }: WireDrill) => ({
    ...{ title, purpose, setUp, steps, progressions, cautions, source },
  }),
  drillPicture: ({ inWords, shapes }: NonNullable<WireDrill['picture']>) => ({
    inWords,
    labels: shapes.map((shape) => (shape.kind === 'label' ? shape.text : '')),
  }),
  verdict: ({ sentence, notes }: WireVerdict) => ({ sentence, notes }),
  plan: ({ sentence, caution }: NonNullable<WirePrescription['plan']>) => ({ sentence, caution }),
  retention: ({ sentence }: NonNullable<WirePrescription['retention']>) => ({ sentence }),
  withheld: ({ withheld }: WirePrescription) => withheld,
  loadCaution: ({ text, source }: WireLoad['cautions'][number]) => ({ text, source }),
  drift: ({ sentence }: WireSessionStudy['drift'][number]) => ({ sentence }),
  starts: ({ sentence }: WireSessionStudy['starts'][number]) => ({ sentence }),
  range: ({ sentence }: WireSessionStudy['range']) => ({ sentence }),
  band: ({ source }: WireTargets['bands'][number]) => ({ source }),
  studyResult: ({ sentences, methods, cannotAnswer }: WireStudyResult) => ({ sentences, methods, cannotAnswer }),
});

/** Documents in the words of the page's language. */
export const inWords = {
  faults: (faults: WireDrills['faults']): WireDrills['faults'] =>
    faults.map((fault) => ({ ...fault, title: servedWords.fault(fault) })),
  drill,
  coaching: (document: WirePlayerCoaching): WirePlayerCoaching => ({
    ...document,
    stage: { ...document.stage, ...servedWords.stage(document.stage) },
    findings: document.findings.map((finding) => ({ ...finding, ...servedWords.finding(finding) })),
    notes: servedWords.coachingNotes(document),
  }),
  prescription: (document: WirePrescription): WirePrescription => {
    const { plan, retention, verdict } = document;
    return {
      ...document,
      drill: drill(document.drill),
      verdict: verdict && { ...verdict, ...servedWords.verdict(verdict) },
      plan: plan && { ...plan, ...servedWords.plan(plan) },
      retention: retention && { ...retention, ...servedWords.retention(retention) },
      withheld: servedWords.withheld(document),
    };
  },
  load: (document: WireLoad): WireLoad => ({
    ...document,
    cautions: document.cautions.map((caution) => ({ ...caution, ...servedWords.loadCaution(caution) })),
  }),
  sessionStudy: (document: WireSessionStudy): WireSessionStudy => ({
    ...document,
    drift: document.drift.map((one) => ({ ...one, ...servedWords.drift(one) })),
    starts: document.starts.map((one) => ({ ...one, ...servedWords.starts(one) })),
    range: { ...document.range, ...servedWords.range(document.range) },
  }),
  targets: (document: WireTargets): WireTargets => ({
    ...document,
    bands: document.bands.map((band) => ({ ...band, ...servedWords.band(band) })),
  }),
  studyResult: (document: WireStudyResult): WireStudyResult => ({ ...document, ...servedWords.studyResult(document) }),
};

function drill(document: WireDrill): WireDrill {
  if (document.own) return document;
  const { picture } = document;
  const worded = { ...document, ...servedWords.drill(document) };
  if (picture === undefined) return worded;
  const { inWords: said, labels } = servedWords.drillPicture(picture);
  const shapes = picture.shapes.map((shape, i) =>
    shape.kind === 'label' ? { ...shape, text: labels[i] ?? shape.text } : shape,
  );
  return { ...worded, picture: { ...picture, inWords: said, shapes } };
}
