import { accelUnits, type ColumnChoice, gyroUnits, timeUnits } from './csv-columns.ts';
import { researchTexts } from './texts.ts';

const words = researchTexts.import;

interface ColumnsFormProps {
  readonly name: string;
  readonly names: readonly string[];
  readonly columns: ColumnChoice;
  readonly onChange: (columns: ColumnChoice) => void;
}

/** Says which columns of a CSV file are what, and in which units. */
export function ColumnsForm({ name, names, columns, onChange }: ColumnsFormProps) {
  const axes = (what: 'accel' | 'gyro') =>
    words.axis.map((axis, index) => (
      <Choice
        key={axis}
        label={`${words.column[what]} ${axis}`}
        value={columns[what][index] ?? ''}
        choices={names}
        none={what === 'gyro' ? words.noGyro : words.placements['']}
        onChange={(value) =>
          onChange({ ...columns, [what]: columns[what].map((each, at) => (at === index ? value : each)) })
        }
      />
    ));
  const unit = (label: string, field: 'timeUnit' | 'accelUnit' | 'gyroUnit', units: readonly string[]) => (
    <Choice
      label={`${label}, ${words.unit}`}
      value={columns[field]}
      choices={units}
      none={null}
      onChange={(value) => onChange({ ...columns, [field]: value })}
    />
  );
  return (
    <fieldset class="grid-form columns-form">
      <legend>{words.columnsOf(name)}</legend>
      <Choice
        label={words.column.time}
        value={columns.time}
        choices={names}
        none={words.placements['']}
        onChange={(time) => onChange({ ...columns, time })}
      />
      {unit(words.column.time, 'timeUnit', timeUnits)}
      {axes('accel')}
      {unit(words.column.accel, 'accelUnit', accelUnits)}
      {axes('gyro')}
      {unit(words.column.gyro, 'gyroUnit', gyroUnits)}
    </fieldset>
  );
}

interface ChoiceProps {
  readonly label: string;
  readonly value: string;
  readonly choices: readonly string[];
  /** What stands for nothing chosen; null where something has to be. */
  readonly none: string | null;
  readonly onChange: (value: string) => void;
}

function Choice({ label, value, choices, none, onChange }: ChoiceProps) {
  return (
    <label>
      {label}
      <select value={value} onChange={(event) => onChange(event.currentTarget.value)}>
        {none !== null && <option value="">{none}</option>}
        {choices.map((choice) => (
          <option key={choice} value={choice}>
            {choice}
          </option>
        ))}
      </select>
    </label>
  );
}
