"""A Modbus gateway of which a test says what stands behind it."""

import contextlib
import random
import socketserver
import struct
import threading

SERVER_FAILURE = 4
# Real readings are never twice the same; one that stands still is not believed.
NOISE = 0.002


class Gateway(socketserver.ThreadingTCPServer):
    """Each unit of `values` answers any read with its value as a float, a little noisy; any other fails."""

    allow_reuse_address = True
    daemon_threads = True

    def __init__(self, values):
        super().__init__(("127.0.0.1", 0), Requests)
        self.values = values
        self.noise = random.Random(7)
        self.port = self.server_address[1]
        threading.Thread(target=self.serve_forever, daemon=True).start()

    def end(self):
        self.shutdown()
        self.server_close()


class Requests(socketserver.StreamRequestHandler):
    def handle(self):
        # A service that ends does not say goodbye.
        with contextlib.suppress(ConnectionError):
            self.answer_all()

    def answer_all(self):
        while head := self.rfile.read(7):
            transaction, _, length, unit = struct.unpack(">HHHB", head)
            (function,) = self.rfile.read(length - 1)[:1]
            value = self.server.values.get(unit)
            if value is None:
                answer = struct.pack(">BB", function | 0x80, SERVER_FAILURE)
            else:
                noisy = value * (1 + self.server.noise.gauss(0, NOISE))
                answer = struct.pack(">BBf", function, 4, noisy)
            self.wfile.write(struct.pack(">HHHB", transaction, 0, len(answer) + 1, unit) + answer)
