/** Entry of a thread that analyses whole recordings, one task each. */
import { type AnalysedRecording, analyseRecording, type RecordingTask } from './analyse-recording.ts';

export { analyse as default };

function analyse(task: RecordingTask): Promise<AnalysedRecording> {
  return analyseRecording(task);
}
