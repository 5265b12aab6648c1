/** Entry of a thread that analyses whole recordings, one task each. */
import { analyseRecording, type ReanalysedShot, type RecordingTask } from './analyse-recording.ts';

export { analyse as default };

function analyse(task: RecordingTask): Promise<ReanalysedShot[]> {
  return analyseRecording(task);
}
