import type Type from 'typebox';
import type {
  blockSchema,
  drillSchema,
  findingSchema,
  loadSchema,
  playerCoachingSchema,
  playerSetSchema,
  prescriptionSchema,
  sessionStudySchema,
  studyResultSchema,
  studySchema,
  verdictSchema,
} from '../wire/coaching-document.ts';

/** The documents of coaching as the routes make them; whoever receives them takes them as read-only (`Wire…`). */
export type PlayerCoachingAnswer = Type.Static<typeof playerCoachingSchema>;
export type PlayerSetAnswer = Type.Static<typeof playerSetSchema>;
export type FindingAnswer = Type.Static<typeof findingSchema>;
export type DrillAnswer = Type.Static<typeof drillSchema>;
export type BlockAnswer = Type.Static<typeof blockSchema>;
export type VerdictAnswer = Type.Static<typeof verdictSchema>;
export type PrescriptionAnswer = Type.Static<typeof prescriptionSchema>;
export type LoadAnswer = Type.Static<typeof loadSchema>;
export type SessionStudyAnswer = Type.Static<typeof sessionStudySchema>;
export type StudyAnswer = Type.Static<typeof studySchema>;
export type StudyResultAnswer = Type.Static<typeof studyResultSchema>;
