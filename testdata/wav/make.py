#!/usr/bin/python3
"""Makes small WAV files with SoX and FFmpeg: make.py OUT

files.csv lists each file with its format, or with the word by which it must
be refused. The samples follow a formula that capture/wavfile's tests know too
(code below), so that every reading can be compared sample for sample.
"""

import csv
import pathlib
import struct
import subprocess
import sys

FRAMES = 21  # odd, so that mono files of odd sample sizes need a padding byte

out = pathlib.Path(sys.argv[1])
out.mkdir(parents=True, exist_ok=True)
rows = []


def code(frame, channel, channels, bits):
    """A pseudo-random code of so many bits; both ends of the range come first."""
    if frame == 0:
        return -(1 << bits - 1)
    if frame == 1:
        return (1 << bits - 1) - 1
    v = (frame * channels + channel + 1) * 2654435761 % (1 << 32)
    return v - (1 << 31) >> 32 - bits


def raw(channels, bits, floating):
    """Interleaved samples: 64-bit floats for float files, else integers of 32 bits."""
    b = b""
    for i in range(FRAMES):
        for c in range(channels):
            if floating:
                # 32 bits fit a float64, and 24 a float32.
                n = 32 if bits == 64 else 24
                b += struct.pack("<d", code(i, c, channels, n) / (1 << n - 1))
            else:
                b += struct.pack("<i", code(i, c, channels, bits) << 32 - bits)
    return b


def run(args, data):
    return subprocess.run(args, input=data, stdout=subprocess.PIPE, check=True).stdout


def ffmpeg(args, rate, channels, bits, floating):
    src = ["-f", "f64le" if floating else "s32le", "-ar", str(rate), "-ac", str(channels), "-i", "-"]
    return run(["ffmpeg", "-v", "error", "-y", *src, "-bitexact", *args], raw(channels, bits, floating))


def sox(args, rate, channels, bits, floating):
    kind = ["-e", "floating-point", "-b", "64"] if floating else ["-e", "signed-integer", "-b", "32"]
    src = ["-t", "raw", "-r", str(rate), "-c", str(channels), *kind, "-"]
    return run(["sox", "-V1", "-D", *src, *args], raw(channels, bits, floating))


def good(name, tool, rate, channels, bits, floating=False, container="RIFF", extra=()):
    path = out / (name + ".wav")
    if tool == "ffmpeg":
        codec = "u8" if bits == 8 else ("f" if floating else "s") + f"{bits}le"
        ffmpeg(["-c:a", "pcm_" + codec, *extra, str(path)], rate, channels, bits, floating)
    else:
        kind = "floating-point" if floating else "unsigned-integer" if bits == 8 else "signed-integer"
        sox(["-b", str(bits), "-e", kind, *extra, str(path)], rate, channels, bits, floating)
    if container == "RF64":
        assert path.read_bytes()[:4] == b"RF64"
    rows.append([path.name, tool, rate, channels, bits, int(floating), container, ""])


def bad(name, tool, kind, args, bits=16, rate=8000):
    path = out / name
    {"ffmpeg": ffmpeg, "sox": sox}[tool]([*args, str(path)], rate, 1, bits, False)
    rows.append([path.name, tool, rate, 1, bits, 0, "", kind])


for tool in "sox", "ffmpeg":
    for rate, channels, bits, floating in [
        (44100, 1, 8, False), (44100, 2, 16, False), (48000, 1, 24, False), (48000, 3, 24, False),
        (96000, 2, 32, False), (88200, 1, 32, True), (192000, 2, 64, True), (176400, 8, 24, False),
        (48000, 32, 16, False),
    ]:
        name = f"{tool}-{'f' if floating else 's'}{bits}-{channels}ch-{rate}"
        good(name, tool, rate, channels, bits, floating)

rf64 = ["-rf64", "always"]
good("rf64-s24-3ch", "ffmpeg", 48000, 3, 24, container="RF64", extra=rf64)
good("rf64-s16-1ch", "ffmpeg", 44100, 1, 16, container="RF64", extra=rf64)
good("rf64-f32-2ch", "ffmpeg", 96000, 2, 32, True, container="RF64", extra=rf64)
good("bext", "ffmpeg", 48000, 2, 24, extra=["-write_bext", "1", "-metadata", "description=odd",
                                            "-metadata", "coding_history=A=PCM"])
good("list", "ffmpeg", 48000, 1, 24, extra=["-metadata", "title=odd!", "-metadata", "comment=even"])
good("comment", "sox", 48000, 1, 24, extra=["--comment", "odd"])

bad("sox-a-law.wav", "sox", "A-law", ["-e", "a-law"])
bad("sox-mu-law.wav", "sox", "mu-law", ["-e", "mu-law"])
bad("sox-ima-adpcm.wav", "sox", "IMA ADPCM", ["-e", "ima-adpcm"])
bad("sox-ms-adpcm.wav", "sox", "Microsoft ADPCM", ["-e", "ms-adpcm"])
bad("sox-gsm.wav", "sox", "GSM 6.10", ["-e", "gsm-full-rate"])
bad("ffmpeg-a-law.wav", "ffmpeg", "A-law", ["-c:a", "pcm_alaw"])
bad("ffmpeg-mu-law.wav", "ffmpeg", "mu-law", ["-c:a", "pcm_mulaw"])
bad("ffmpeg-ima-adpcm.wav", "ffmpeg", "IMA ADPCM", ["-c:a", "adpcm_ima_wav"])
bad("ffmpeg-mp3.wav", "ffmpeg", "MP3", ["-c:a", "libmp3lame"], rate=44100)
bad("ffmpeg-wave64.w64", "ffmpeg", "Wave64", ["-c:a", "pcm_s16le"])
bad("sox.aiff", "sox", "AIFF", [])
bad("sox.flac", "sox", "FLAC", [])

# Written to a pipe, so that the length was never filled in.
for tool, piped in ("ffmpeg", ffmpeg(["-c:a", "pcm_s16le", "-f", "wav", "-"], 48000, 1, 16, False)), \
                   ("sox", sox(["-b", "16", "-t", "wav", "-"], 48000, 1, 16, False)):
    path = out / f"{tool}-piped.wav"
    path.write_bytes(piped)
    rows.append([path.name, tool, 48000, 1, 16, 0, "", "the length was never written"])
whole = (out / "sox-s24-3ch-48000.wav").read_bytes()
(out / "truncated.wav").write_bytes(whole[:-30])
rows.append(["truncated.wav", "sox", 48000, 3, 24, 0, "", "promises 21 frames, the file holds 17"])

versions = [subprocess.run(a, stdout=subprocess.PIPE, text=True, check=True).stdout.split("\n")[0]
            for a in (["sox", "--version"], ["ffmpeg", "-version"])]
with open(out / "files.csv", "w", newline="") as f:
    f.write("# " + "; ".join(v.split(" Copyright")[0] for v in versions) + "\n")
    w = csv.writer(f, lineterminator="\n")
    w.writerow("file tool rate_hz channels bits float container refused".split())
    w.writerows(rows)
