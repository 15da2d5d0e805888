"""Calls that are ended, and calls beside others: signals, callbacks, threads, processes, interpreters."""

import gc
import io
import os
import signal
import subprocess
import sys
import threading
import time
import unittest
import zipfile

import boutwise
from case import Case
from gpx import gpx

GPX = gpx([("run", 60)])
# A call must be over so soon after it was ended, in seconds (the contract of the package).
SOON_S = 0.5


class Ended(Case):
    def setUp(self):
        super().setUp()
        # Where it was started in the background of a shell, a process ignores interrupts.
        before = signal.signal(signal.SIGINT, signal.default_int_handler)
        self.addCleanup(signal.signal, signal.SIGINT, before)

    def many(self, count=400):
        content = gpx([("walk", 900), ("run", 900)])
        for number in range(count):
            self.write(f"many/{number % 7}/{number}.gpx", content)
        return self.place / "many"

    def interrupted(self, call, after_s):
        """Seconds from an interrupt to the end of the call."""
        sent, ended = [], []

        def interrupt():
            time.sleep(after_s)
            sent.append(time.monotonic())
            os.kill(os.getpid(), signal.SIGINT)

        thread = threading.Thread(target=interrupt)
        thread.start()
        with self.assertRaises(KeyboardInterrupt):
            call()
            ended.append("by itself")
            # A signal that another thread takes is looked at between two sleeps.
            for _ in range(100):
                time.sleep(0.1)
        self.assertEqual(ended, [])
        took = time.monotonic() - sent[0]
        thread.join()
        return took

    def test_an_interrupt_ends_a_batch(self):
        folder, began = self.many(), time.process_time()
        # All takes some two tenths of a second.
        took = self.interrupted(lambda: boutwise.audit_folder(folder), after_s=0.05)
        print(f"interrupt in a batch: {took:.2f} s to return")
        self.assertLess(took, SOON_S)
        # And the work itself: no processor time is used a little later.
        time.sleep(1)
        used = time.process_time()
        time.sleep(0.5)
        self.assertLess(time.process_time() - used, 0.1)
        self.assertGreater(time.process_time() - began, 0)

    def test_an_interrupt_ends_every_call_in_an_archive_of_a_gigabyte(self):
        content = gpx([("walk", 20_000), ("run", 20_000)])
        path = self.write("large/all.zip", b"")
        with zipfile.ZipFile(path, "w") as archive:
            for number in range(10**9 // len(content)):
                archive.writestr(f"{number}.gpx", content)
        self.assertGreater(path.stat().st_size, 0.98e9)
        for call, place in (
            (boutwise.read, path),
            (boutwise.bouts, path),
            (boutwise.audit_recording, path),
            (boutwise.audit_folder, path.parent),
        ):
            # By then it is in the middle of it: all takes some two seconds.
            took = self.interrupted(lambda: call(place), after_s=0.5)
            print(f"interrupt of {call.__name__} in an archive of a gigabyte: {took:.2f} s to return")
            self.assertLess(took, SOON_S)

    def test_what_progress_raises_ends_the_call_unchanged(self):
        folder, own, called = self.many(), LookupError("mine"), []

        def progress(done, total):
            called.append(time.monotonic())
            raise own

        with self.assertRaises(LookupError) as raised:
            boutwise.audit_folder(folder, progress=progress)
        took = time.monotonic() - called[0]
        self.assertIs(raised.exception, own)
        self.assertEqual(len(called), 1)
        self.assertLess(took, SOON_S)

    def test_progress_counts_to_the_end(self):
        told = []
        boutwise.audit_folder(self.many(60), progress=lambda *far: told.append(far))
        self.assertEqual(told[-1], (60, 60))
        self.assertEqual(told, sorted(told))

    def test_other_threads_go_on_and_may_call_too(self):
        folder = self.many(60)
        expected = boutwise.bouts(GPX).to_dict(), boutwise.audit_folder(folder).sessions.to_dict()
        found, counted, is_done = [], [0], threading.Event()

        def count():
            while not is_done.is_set():
                counted[0] += 1
                time.sleep(0.001)

        def call():
            found.append((boutwise.bouts(GPX).to_dict(), boutwise.audit_folder(folder).sessions.to_dict()))

        counter = threading.Thread(target=count)
        counter.start()
        callers = [threading.Thread(target=call) for _ in range(8)]
        for thread in callers:
            thread.start()
        for thread in callers:
            thread.join()
        is_done.set()
        counter.join()
        self.assertEqual(found, [expected] * 8)
        self.assertGreater(counted[0], 20)

    def test_content_that_another_thread_changes_is_read_as_it_was(self):
        walk, run = gpx([("walk", 600)]), gpx([("run", 600)])
        size = max(len(walk), len(run))
        walk, run = walk.ljust(size), run.ljust(size)
        expected = [boutwise.bouts(content).to_dict() for content in (walk, run)]
        self.assertNotEqual(*expected)
        shared, is_done = bytearray(walk), threading.Event()

        def change():
            while not is_done.is_set():
                shared[:] = run
                shared[:] = walk

        thread = threading.Thread(target=change)
        thread.start()
        try:
            for _ in range(20):
                self.assertIn(boutwise.bouts(memoryview(shared)).to_dict(), expected)
        finally:
            is_done.set()
            thread.join()

    @unittest.skipUnless(hasattr(os, "fork"), "no fork here")
    def test_a_forked_process_may_call(self):
        folder = self.many(10)
        expected = boutwise.audit_folder(folder, threads=2).sessions.to_dict()
        child = os.fork()
        if child == 0:
            is_same = boutwise.audit_folder(folder, threads=2).sessions.to_dict() == expected
            os._exit(0 if is_same and len(boutwise.bouts(GPX)) == 1 else 1)
        for _ in range(600):
            ended, status = os.waitpid(child, os.WNOHANG)
            if ended:
                break
            time.sleep(0.1)
        else:
            os.kill(child, signal.SIGKILL)
            self.fail("the forked process hangs")
        self.assertEqual(status, 0)

    def test_a_second_interpreter_works_or_says_that_it_does_not(self):
        code = (
            "try:\n    import _interpreters as interpreters\n"
            "except ImportError:\n    import _xxsubinterpreters as interpreters\n"
            "import boutwise\n"
            "place = interpreters.create()\n"
            "code = '''try:\n    import boutwise\nexcept ImportError as error:\n    print(error, flush=True)\n"
            "else:\n    print(len(boutwise.bouts(%r)), flush=True)'''\n"
            "failed = interpreters.run_string(place, code)\n"
            "print('failed', failed) if failed else None\n" % GPX
        )
        done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
        self.assertEqual((done.returncode, done.stderr), (0, ""))
        self.assertTrue(done.stdout == "1\n" or "interpreter" in done.stdout, done.stdout)

    def test_tables_outlive_what_they_came_from(self):
        recording, table = boutwise.read(GPX)[0], boutwise.audit_recording(GPX).bouts
        capsule = table.__arrow_c_stream__()
        del table
        gc.collect()
        # An interface that nobody takes up gives its memory back by itself.
        del capsule
        gc.collect()
        self.assertEqual(len(recording), 60)

    def test_a_file_object_that_raises(self):
        class Broken(io.RawIOBase):
            def read(self, size=-1):
                raise OSError("mine")

        with self.assertRaisesRegex(OSError, "mine"):
            boutwise.read(Broken())


if __name__ == "__main__":
    unittest.main()
