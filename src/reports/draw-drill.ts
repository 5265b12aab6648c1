import type { DrillPicture, PictureShape } from '../coaching/drill-pictures/picture.ts';
import { html, type Markup } from './html.ts';

const weights = { body: 4, thing: 2.5, faint: 1.2 } as const;

/** A drill's picture as SVG that takes the colour of the text around it. */
export function drawDrill({ width, height, inWords, shapes }: DrillPicture): Markup {
  return html`<svg class="drill-picture" viewBox="0 0 ${width} ${height}" width="${width}" height="${height}" role="img" aria-label="${inWords}" fill="none" stroke="currentColor" stroke-linecap="round" stroke-linejoin="round">${shapes.map(drawn)}</svg>`;
}

function drawn(shape: PictureShape): Markup {
  switch (shape.kind) {
    case 'line':
      return html`<polyline points="${listed(shape.points)}" stroke-width="${weights[shape.weight]}"/>`;
    case 'arrow':
      return html`<polyline points="${listed(shape.points)}" stroke-width="1.6" stroke-dasharray="4 3"/><polyline points="${listed(shape.head)}" stroke-width="1.6"/>`;
    case 'circle':
      return shape.what === 'ball'
        ? html`<circle cx="${shape.at[0]}" cy="${shape.at[1]}" r="${shape.radius}" stroke-width="2" fill="#c9742f" fill-opacity="0.45"/>`
        : html`<circle cx="${shape.at[0]}" cy="${shape.at[1]}" r="${shape.radius}" stroke-width="3"/>`;
    case 'label':
      return html`<text x="${shape.at[0]}" y="${shape.at[1]}" text-anchor="middle" font-size="11" fill="currentColor" stroke="none">${shape.text}</text>`;
  }
}

function listed(points: readonly (readonly [number, number])[]): string {
  return points.map(([x, y]) => `${round(x)},${round(y)}`).join(' ');
}

const round = (value: number) => Math.round(value * 10) / 10;
