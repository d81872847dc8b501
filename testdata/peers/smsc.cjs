// An SMPP 3.4 message centre on the npm package smpp (MIT), with phones behind
// it. It listens for SMPP at NETWORK and for phones at PHONES: one connection
// carries a line for each segment, "from to kind data".
//
// What becomes of a message is in the number it goes to: 2547007… the receipt
// comes before the response, 2547008… is throttled twice, 2547009… is refused,
// 2547010… is not delivered.
const net = require('net');
const smpp = require('smpp');

let esme = null; // the one that is bound
let phones = null; // the connection of the phones
const waiting = []; // lines for phones that are away
const throttled = {}; // attempts by number
let lastID = 0x10ab;

const escape = (octets) => [...octets].map((b) => '%' + b.toString(16).padStart(2, '0')).join('');
const unescape = (text) => Buffer.from(text.replace(/\+/g, ' ').replace(/%(..)|[^]/g, (c, hex) => (hex || Buffer.from(c).toString('hex'))), 'hex');
const utf16 = (text) => Buffer.from(text, 'utf16le').swap16();

// say tells a phone.
function say(line) {
  if (phones) phones.write(line + '\n');
  else waiting.push(line);
}

// deliver sends what a phone wrote.
function deliver(line) {
  const [, from, to, kind, rest] = /^\+?(\d+) (\S+) (\S+) (.*)$/.exec(line);
  const pdu = { source_addr_ton: 1, source_addr_npi: 1, source_addr: from, destination_addr: to, data_coding: 0 };
  const [, header, text] = /^(\S*) (.*)$/.exec(rest) || [];
  switch (kind) {
    case 'text':
      pdu.short_message = rest;
      break;
    case 'payload':
      Object.assign(pdu, { short_message: '', message_payload: rest });
      break;
    case 'ucs2':
      Object.assign(pdu, { data_coding: 8, short_message: { message: unescape(rest) } });
      break;
    case 'udh-text':
      Object.assign(pdu, { esm_class: 0x40, short_message: { udh: unescape(header), message: text } });
      break;
    case 'udh-ucs2':
      Object.assign(pdu, { esm_class: 0x40, data_coding: 8, short_message: { udh: unescape(header), message: unescape(text) } });
      break;
    default:
      throw new Error(`phones cannot say ${line}`);
  }
  esme.deliver_sm(pdu);
}

// take takes a segment for a phone.
function take(session, pdu) {
  const to = pdu.destination_addr;
  const answer = (fields) => session.send(pdu.response(fields));
  if (to.startsWith('2547009')) return answer({ command_status: smpp.ESME_RINVDSTADR });
  if (to.startsWith('2547008')) {
    throttled[to] = (throttled[to] || 0) + 1;
    if (throttled[to] <= 2) return answer({ command_status: smpp.ESME_RTHROTTLED });
  }
  const { message, udh } = pdu.short_message;
  const head = `${pdu.source_addr} +${to}`;
  const unicode = pdu.data_coding === 8;
  if (udh) {
    const elements = Buffer.concat([].concat(udh));
    const header = Buffer.concat([Buffer.from([elements.length]), elements]);
    say(`${head} udh ${escape(header)} data ${escape(unicode ? utf16(message) : Buffer.from(message))}`);
  } else {
    say(unicode ? `${head} ucs-2 ${escape(utf16(message))}` : `${head} text ${message}`);
  }
  const id = ++lastID; // in hexadecimal in the response, in decimal in the receipt
  const state = to.startsWith('2547010') ? 'UNDELIV' : 'DELIVRD';
  const receipt = () => {
    if (!pdu.registered_delivery) return;
    session.deliver_sm({
      source_addr_ton: 1, source_addr_npi: 1, source_addr: to, destination_addr: pdu.source_addr, esm_class: 4,
      short_message: `id:${id} sub:001 dlvrd:001 submit date:2611242200 done date:2611242201 stat:${state} err:000 text:`,
    });
  };
  const respond = () => answer({ message_id: id.toString(16).toUpperCase() });
  const [first, second] = to.startsWith('2547007') ? [receipt, respond] : [respond, receipt];
  first();
  setTimeout(second, 100);
}

smpp.createServer({}, (session) => {
  session.on('error', (problem) => console.log(problem.message));
  session.on('bind_transceiver', (pdu) => {
    const known = pdu.password === process.env.SECRET.slice(0, 8); // as long as SMPP lets it be
    session.send(pdu.response(known ? {} : { command_status: smpp.ESME_RBINDFAIL }));
    if (known) esme = session;
  });
  session.on('submit_sm', (pdu) => take(session, pdu));
  session.on('enquire_link', (pdu) => session.send(pdu.response()));
  session.on('unbind', (pdu) => { session.send(pdu.response()); session.close(); });
}).listen(Number(process.env.NETWORK), '127.0.0.1');

net.createServer((connection) => {
  phones = connection;
  waiting.splice(0).forEach(say);
  let rest = '';
  connection.setEncoding('utf8');
  connection.on('data', (data) => {
    const lines = (rest + data).split('\n');
    rest = lines.pop();
    lines.forEach(deliver);
  });
  connection.on('close', () => { phones = null; });
}).listen(Number(process.env.PHONES), '127.0.0.1');
