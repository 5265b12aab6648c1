import { texts } from '../texts.ts';

interface ReportLinksProps {
  /** Path of the report, without its reader; with a query it ends in one. */
  readonly path: string;
  /** Of whom it is, where one page offers several. */
  readonly of?: string;
}

/** Links to a report for each of its readers. They open as pages of their own, to be printed or kept. */
export function ReportLinks({ path, of }: ReportLinksProps) {
  const words = texts.coaching;
  const glue = path.includes('?') ? '&' : '?';
  return (
    <ul class="report-links">
      {of !== undefined && <li>{of}</li>}
      {(['coach', 'parent', 'researcher'] as const).map((reader) => (
        <li key={reader}>
          <a
            href={`${path}${glue}for=${reader}`}
            target="_blank"
            rel="noopener"
            aria-label={of === undefined ? undefined : `${of}: ${words.report[reader]}`}
          >
            {words.report[reader]}
          </a>
        </li>
      ))}
    </ul>
  );
}
