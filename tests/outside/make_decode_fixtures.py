"""Writes audio-fixtures/formats (one small whole file of each format) and audio-fixtures/broken (files
named by their defect). Run by hand when a case is added; the files are committed.

Needs ffmpeg and sox; everything is synthesised here: a 330 Hz tone of a quarter of a second.
"""

import pathlib
import struct
import subprocess
import tempfile

import numpy as np

ROOT = pathlib.Path(__file__).resolve().parents[2] / "audio-fixtures"
FORMATS, BROKEN = ROOT / "formats", ROOT / "broken"
RATE = 8000


def tone(seconds=0.25, rate=RATE, gain=0.5):
    t = np.arange(int(seconds * rate)) / rate
    return gain * np.sin(2 * np.pi * 330 * t)


def wav(data, rate=RATE, channels=1, tag=1, bits=16, data_length=None, riff_length=None, block=None):
    block = block if block is not None else channels * bits // 8
    fmt = struct.pack("<HHIIHH", tag, channels, rate, (rate * block) & 0xFFFFFFFF, block & 0xFFFF, bits)
    body = b"WAVEfmt " + struct.pack("<I", len(fmt)) + fmt + b"data"
    body += struct.pack("<I", len(data) if data_length is None else data_length) + data
    return b"RIFF" + struct.pack("<I", len(body) if riff_length is None else riff_length) + body


def s16(x):
    return np.round(x * 32767).astype("<i2").tobytes()


def ffmpeg(name, *arguments, folder=FORMATS, source="tone.wav"):
    path = folder / name
    quiet = ["ffmpeg", "-v", "error", "-y", "-bitexact"]
    exact = ["-fflags", "+bitexact", "-flags:a", "+bitexact", "-map_metadata", "-1"]
    subprocess.run([*quiet, "-i", FORMATS / source, *exact, *arguments, path], check=True)
    return path.read_bytes()


def main():
    for folder in (FORMATS, BROKEN):
        folder.mkdir(parents=True, exist_ok=True)
    good = wav(s16(tone()))
    (FORMATS / "tone.wav").write_bytes(good)
    ffmpeg("ima.wav", "-c:a", "adpcm_ima_wav")
    ffmpeg("mulaw.wav", "-c:a", "pcm_mulaw")
    ffmpeg("double-stereo.wav", "-ac", "2", "-c:a", "pcm_f64le", "-t", "0.1")
    ffmpeg("rf64.wav", "-c:a", "pcm_u8", "-rf64", "always")
    ffmpeg("tone.aiff", "-c:a", "pcm_s16be")
    ffmpeg("tone.caf", "-c:a", "pcm_s16be")
    flac = ffmpeg("tone.flac", "-c:a", "flac", "-frame_size", "512")
    ffmpeg("flac.ogg", "-c:a", "flac")
    ffmpeg("alac.m4a", "-c:a", "alac")
    ffmpeg("alac.caf", "-c:a", "alac")
    mp3 = ffmpeg("tone.mp3", "-ar", "16000", "-c:a", "libmp3lame", "-b:a", "24k")
    m4a = ffmpeg("tone.m4a", "-ar", "16000", "-c:a", "aac", "-b:a", "32k")
    fast = ffmpeg("faststart.mp4", "-ar", "16000", "-c:a", "aac", "-b:a", "32k", "-movflags", "+faststart")
    three = ffmpeg("tone.3gp", "-ar", "16000", "-c:a", "aac", "-b:a", "32k")
    ffmpeg("fragmented.mp4", "-ar", "16000", "-c:a", "aac", "-b:a", "32k", "-movflags", "+frag_keyframe+empty_moov")
    ffmpeg("tone.aac", "-ar", "16000", "-c:a", "aac", "-b:a", "32k", "-f", "adts")
    vorbis = ffmpeg("tone.ogg", "-c:a", "libvorbis", "-q:a", "0", "-page_duration", "50000")
    opus = ffmpeg("tone.opus", "-c:a", "libopus", "-b:a", "16k", "-page_duration", "50000")
    ffmpeg("celt.opus", "-c:a", "libopus", "-b:a", "48k", "-application", "lowdelay")
    webm = ffmpeg("tone.webm", "-c:a", "libopus", "-b:a", "16k")
    ffmpeg("aac.mkv", "-ar", "16000", "-c:a", "aac", "-b:a", "32k")
    ffmpeg("pcm.mov", "-c:a", "pcm_s16le")

    broken = {
        "empty.wav": b"",
        "header-and-no-sound.wav": wav(b""),
        "header-cut.wav": good[:30],
        "sound-cut.wav": good[: len(good) // 2],
        "lengths-never-written.wav": wav(s16(tone()), data_length=0, riff_length=0),
        "lengths-of-a-pipe.wav": wav(s16(tone()), data_length=0xFFFFFFFF, riff_length=0xFFFFFFFF),
        "rate-1-hz.wav": wav(s16(tone()), rate=1),
        "rate-768-khz.wav": wav(s16(tone()), rate=768000),
        "channels-65535.wav": wav(s16(tone()), channels=65535, block=2),
        "no-channels.wav": wav(s16(tone()), channels=0, block=0),
        "gsm.wav": wav(s16(tone()), tag=0x31, bits=0, block=65),
        "bits-13-of-nothing.wav": wav(s16(tone()), bits=13, block=0),
        "text.wav": "Take 1, violin, bar 1 to 8.\n".encode(),
        "page.mp3": b"<!DOCTYPE html><html><body>404 not found</body></html>",
        "picture.m4a": b"\xff\xd8\xff\xe0\x00\x10JFIF\x00\x01\x01" + bytes(range(256)),
        "zeros.wav": bytes(2000),
        "score.mp3": b'<?xml version="1.0"?><score-partwise version="4.0"></score-partwise>',
        "amr-file.amr": b"#!AMR\n" + bytes(100),
        "amr-in-3gp.3gp": three.replace(b"mp4a", b"samr"),
        "contents-missing.m4a": m4a[: m4a.index(b"moov") - 4],
        "sound-cut.m4a": fast[: len(fast) - 400],
        "sound-cut.flac": flac[:-400],
        "sound-cut.mp3": mp3[: len(mp3) * 2 // 3],
        "sound-cut.ogg": vorbis[:-200],
        "sound-cut.opus": opus[: len(opus) - 150],
        "sound-cut.webm": webm[: len(webm) * 2 // 3],
        "header-cut.flac": flac[:20],
        "header-cut.ogg": vorbis[:60],
        "header-cut.webm": webm[:40],
    }
    floats = tone().astype("<f4")
    floats[100:110], floats[200] = np.nan, np.inf
    broken["no-numbers.wav"] = wav(floats.tobytes(), tag=3, bits=32)
    stereo = np.stack([tone(), -tone()], axis=1)
    broken["channels-cancel.wav"] = wav(s16(stereo), channels=2)
    stereo = np.stack([np.zeros_like(tone()), tone()], axis=1)
    broken["one-channel-silent.wav"] = wav(s16(stereo), channels=2)
    garbled = bytearray(mp3)
    garbled[len(mp3) // 3 : len(mp3) // 2] = bytes(len(mp3) // 2 - len(mp3) // 3)
    broken["hole-in-the-middle.mp3"] = bytes(garbled)
    broken["two-joined.mp3"] = mp3 + mp3
    # Half a second of noise takes most of the bytes; nothing counts the packets.
    noise = np.random.default_rng(9).uniform(-0.9, 0.9, 16000)
    with tempfile.TemporaryDirectory() as folder:
        loud_start = pathlib.Path(folder) / "loud-start.wav"
        loud_start.write_bytes(wav(s16(np.concatenate([noise, tone(4, 16000, 0.1)])), rate=16000))
        no_count = ["-c:a", "libmp3lame", "-q:a", "9", "-write_xing", "0"]
        ffmpeg("loud-start-without-count.mp3", *no_count, folder=BROKEN, source=loud_start)
    scrambled = bytearray(fast)
    at = fast.index(b"mdat") + 4
    scrambled[at:] = bytes((b * 37 + 11) & 255 for b in range(len(fast) - at))
    broken["sound-scrambled.m4a"] = bytes(scrambled)
    for name, data in broken.items():
        (BROKEN / name).write_bytes(data)

    picture = ["-f", "lavfi", "-i", "color=size=16x16:rate=5:duration=0.4"]
    quiet = ["ffmpeg", "-v", "error", "-y", "-bitexact", *picture, "-fflags", "+bitexact"]
    subprocess.run([*quiet, "-c:v", "mpeg4", BROKEN / "video-without-sound.mp4"], check=True)
    subprocess.run([*quiet, "-c:v", "libvpx", BROKEN / "video-without-sound.webm"], check=True)
    speex = ["ffmpeg", "-v", "error", "-y", "-bitexact", "-i", FORMATS / "tone.wav", "-c:a", "libspeex"]
    subprocess.run([*speex, BROKEN / "speex.ogg"], check=True)
    ac3 = ["ffmpeg", "-v", "error", "-y", "-bitexact", "-i", FORMATS / "tone.wav", "-ar", "48000", "-c:a", "ac3", "-b:a", "96k"]
    subprocess.run([*ac3, "-t", "0.1", BROKEN / "ac3.mp4"], check=True)
    subprocess.run([*ac3, "-t", "0.1", BROKEN / "ac3.mkv"], check=True)
    # A bomb is a long file that is small.
    bomb = ["ffmpeg", "-v", "error", "-y", "-bitexact", "-f", "lavfi", "-i", "anullsrc=r=48000:cl=mono", "-t", "660"]
    subprocess.run([*bomb, "-c:a", "flac", "-frame_size", "65535", BROKEN / "eleven-minutes-in-few-bytes.flac"], check=True)


if __name__ == "__main__":
    main()
