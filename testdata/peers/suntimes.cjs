// Second opinion on sunrise and sunset, by suncalc (npm, ISC). Reads a JSON list
// of {lat, lon, noon} and prints one of {rise, set}, all times in milliseconds.
const { getTimes } = require('suncalc');

const days = JSON.parse(require('fs').readFileSync(0, 'utf8'));
const times = days.map(({ lat, lon, noon }) => {
  const { sunrise, sunset } = getTimes(new Date(noon), lat, lon);
  return { rise: sunrise.getTime(), set: sunset.getTime() };
});
process.stdout.write(JSON.stringify(times));
