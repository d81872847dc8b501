"""A GSM modem on a pseudo-terminal, in PDU mode (3GPP TS 27.005 and 27.007).

usage: modem.py LINK PORT. LINK becomes the terminal. The first connection to the
port is the network: each line of hexadecimal that comes is a message that
arrives, with the address of its service centre in front, and each that goes is
one that was sent.
"""

import os
import pty
import re
import select
import socket
import sys
import tty

ANSWERS = {
    'AT+CPIN?': '+CPIN: READY',
    'AT+CSQ': '+CSQ: 20,99',
    'AT+CREG?': '+CREG: 0,1',
    'AT+COPS?': '+COPS: 0,0,"TEST"',
    'AT+CGMI': 'TEST',
    'AT+CGMM': 'PTY',
    'AT+CGMR': '1.0',
    'AT+CGSN': '490154203237518',
    'AT+CIMI': '001010000000001',
    'AT+CSCA?': '+CSCA: "+254700000000",145',
    'AT+CMGF=?': '+CMGF: (0,1)',
    'AT+CMGF?': '+CMGF: 0',
    'AT+CNMI=?': '+CNMI: (0-2),(0-3),(0,2,3),(0-2),(0,1)',
    'AT+CPMS=?': '+CPMS: ("SM"),("SM"),("SM")',
    'AT+CSCS=?': '+CSCS: ("GSM","UCS2")',
    'AT+CSCS?': '+CSCS: "GSM"',
}


class Modem:
    def __init__(self, link, port):
        self.master, slave = pty.openpty()
        tty.setraw(self.master)
        tty.setraw(slave)
        self.slave = slave  # held open: the daemon may close it and come again
        os.symlink(os.ttyname(slave), link)
        self.network, _ = socket.create_server(('127.0.0.1', port)).accept()
        self.stored = {}
        self.echo = True
        self.writing = False  # a message is being typed
        self.sent = 0

    def write(self, *lines):
        os.write(self.master, ''.join('\r\n%s\r\n' % line for line in lines).encode('latin1'))

    def arrive(self, pdu):
        place = next(n for n in range(1, 50) if n not in self.stored)
        self.stored[place] = pdu

    def command(self, text):
        name = text.upper()
        if self.echo:
            os.write(self.master, (text + '\r').encode('latin1'))
        if name == 'ATE0':
            self.echo = False
        if name.startswith('AT+CMGS='):
            self.writing = True
            os.write(self.master, b'\r\n> ')
            return
        if name.startswith('AT+CMGL'):
            self.write(*['+CMGL: %d,0,,%d\r\n%s' % (n, length(p), p) for n, p in self.stored.items()], 'OK')
        elif name.startswith('AT+CMGR='):
            pdu = self.stored.get(int(name.partition('=')[2]))
            if pdu:
                self.write('+CMGR: 0,,%d\r\n%s' % (length(pdu), pdu), 'OK')
            else:
                self.write('+CMS ERROR: 321')
        elif name.startswith('AT+CMGD='):
            self.stored.pop(int(re.findall(r'\d+', name)[0]), None)
            self.write('OK')
        elif name.startswith('AT+CPMS'):
            if name.endswith('=?'):
                self.write(ANSWERS[name], 'OK')
            elif name.endswith('?'):
                self.write('+CPMS: ' + ','.join(['"SM",%d,50' % len(self.stored)] * 3), 'OK')
            else:
                self.write('+CPMS: ' + ','.join(['%d,50' % len(self.stored)] * 3), 'OK')
        elif name in ANSWERS:
            self.write(ANSWERS[name], 'OK')
        elif name.startswith('AT+MODE=') or name.endswith('?'):
            self.write('ERROR')
        else:
            self.write('OK')

    def typed(self, octets):
        """Takes what was typed and returns what is not complete."""
        while True:
            if self.writing:
                end = re.search(rb'[\x1a\x1b]', octets)
                if not end:
                    return octets
                pdu, octets = octets[:end.start()].strip(), octets[end.end():]
                self.writing = False
                if end.group() == b'\x1b':
                    self.write('OK')
                    continue
                self.sent += 1
                self.network.sendall(pdu + b'\n')
                self.write('+CMGS: %d' % self.sent, 'OK')
            else:
                end = octets.find(b'\r')
                if end < 0:
                    return octets
                text, octets = octets[:end].decode('latin1').strip(), octets[end + 1:]
                if text:
                    self.command(text)

    def run(self):
        octets, lines = b'', b''
        while True:
            ready, _, _ = select.select([self.master, self.network], [], [])
            if self.network in ready:
                arrived = self.network.recv(65536)
                if not arrived:
                    return
                *whole, lines = (lines + arrived).split(b'\n')
                for pdu in whole:
                    self.arrive(pdu.decode('latin1'))
            if self.master in ready:
                octets = self.typed(octets + os.read(self.master, 4096))


def length(pdu):
    """Returns the octets of a message without its service centre."""
    return len(pdu) // 2 - 1 - int(pdu[:2], 16)


Modem(sys.argv[1], int(sys.argv[2])).run()
