"""A codec that goes wrong in the way that its first argument says, after as many answers as the second says."""

import json
import os
import subprocess
import sys
import time

way, after = sys.argv[1], int(sys.argv[2])


def answer(line):
    number = json.loads(line)["case"]
    print(json.dumps({"case": number, "verdict": "refused"}), flush=True)


held = []


for count, line in enumerate(sys.stdin):
    if count < after:
        answer(line)
    elif way == "hang":
        for name in sys.argv[3:]:
            open(name, "w").close()  # tells the test that it is time
        time.sleep(600)
    elif way == "crash":
        os.abort()
    elif way == "leave":
        print("no more today", file=sys.stderr)
        sys.exit(7)
    elif way == "close":
        os.close(1)
        time.sleep(600)
    elif way == "garbage":
        print("\x1b[31m\xff not JSON", flush=True)
    elif way == "list":
        print([1, 2, 3], flush=True)
    elif way == "anonymous":
        print('{"verdict": "refused"}', flush=True)
    elif way == "huge":
        sys.stdout.write("x" * 3_000_000)
        sys.stdout.flush()
    elif way == "twice":
        answer(line)
        answer(line)
    elif way == "silent once":
        if count > after:
            answer(line)
    elif way == "hold back":
        held.append(line)
    elif way == "chatter":
        answer(line)
        print("a word for the log " * 1000, file=sys.stderr)
    elif way == "slow":
        time.sleep(0.4)
        answer(line)
    elif way in ("stay", "last words"):
        answer(line)
    elif way == "slip":
        number = json.loads(line)["case"]
        print(json.dumps({"case": number, "verdict": "rejected", "check": ["\x1b[31m"], "at": {}}), flush=True)
    elif way == "parent":
        child = subprocess.Popen(["sleep", "600"])
        with open(sys.argv[3], "w") as note:
            note.write(str(child.pid))
        child.wait()
for line in held:
    answer(line)
if way == "stay":
    time.sleep(600)
if way == "last words":
    sys.stderr.write("statistics " * 20_000)
if way == "postscript":
    print("and one more thing", flush=True)
