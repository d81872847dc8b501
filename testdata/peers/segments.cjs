// Second and third opinions on alphabet and segments, by split-sms and
// sms-segments-calculator (npm, MIT). Reads a JSON list of texts and prints one
// of {alphabets, segments}, an entry of each package.
const { split } = require('split-sms');
const { SegmentedMessage } = require('sms-segments-calculator');

const texts = JSON.parse(require('fs').readFileSync(0, 'utf8'));
const counts = texts.map((text) => {
  const one = split(text, { summary: true });
  const other = new SegmentedMessage(text, 'auto', false);
  return {
    alphabets: [{ GSM: 'GSM-7', Unicode: 'UCS-2' }[one.characterSet], other.encodingName],
    segments: [one.parts.length, other.segmentsCount],
  };
});
process.stdout.write(JSON.stringify(counts));
