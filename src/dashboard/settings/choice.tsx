interface ChoiceProps<Word extends string> {
  readonly legend: string;
  readonly name: string;
  readonly words: readonly Word[];
  readonly labels: Readonly<Record<Word, string>>;
  readonly value: Word;
  readonly onChange: (word: Word) => void;
}

/** One of several words, by radio buttons. */
export function Choice<Word extends string>({ legend, name, words, labels, value, onChange }: ChoiceProps<Word>) {
  return (
    <fieldset>
      <legend>{legend}</legend>
      <div class="choice-row">
        {words.map((word) => (
          <label key={word} class="choice">
            <input type="radio" name={name} checked={word === value} onChange={() => onChange(word)} />
            {labels[word]}
          </label>
        ))}
      </div>
    </fieldset>
  );
}
