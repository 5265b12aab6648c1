import { hrefOf } from '../route.ts';
import { texts } from '../texts.ts';

/** The few words that always stand on the page. */
export function CautionsShort() {
  return (
    <footer class="cautions-short">
      <p>
        {texts.cautionsShort} <a href={hrefOf('cautions')}>{texts.cautionsMore}</a>
      </p>
    </footer>
  );
}

export function Cautions() {
  return (
    <section class="cautions" aria-labelledby="cautions-title">
      <h2 id="cautions-title">{texts.cautionsTitle}</h2>
      <dl>
        {texts.cautions.map(([title, text]) => (
          <div key={title}>
            <dt>{title}</dt>
            <dd>{text}</dd>
          </div>
        ))}
      </dl>
    </section>
  );
}
