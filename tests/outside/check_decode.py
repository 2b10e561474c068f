"""Decoded audio against ffmpeg: every format from one known signal, aligned to the sample.

For each variant: ours and ffmpeg's mono decode of the same file. Reported: lag in samples (ours minus
ffmpeg, by cross-correlation; must be 0), signal-to-difference ratio in dB over the common length, and
the difference of the lengths. Outside source: ffmpeg 5 (libavcodec, libavformat) and sox.
"""

import json
import pathlib
import subprocess
import sys
import tempfile

import numpy as np
from scipy.signal import resample_poly

ROOT = pathlib.Path(__file__).resolve().parents[2]
DUMP = ROOT / "target" / "debug" / "examples" / "dump_samples"
EXACT = 140.0  # dB: equal but for the rounding of 32-bit floats


def signal(rate, seconds=2.3, seed=7):
    """Four bowed-like notes with an attack right at the first sample, and some noise."""
    rng = np.random.default_rng(seed)
    t = np.arange(int(seconds * rate)) / rate
    out = np.zeros_like(t)
    for k, f0 in enumerate((196.0, 293.66, 440.0, 659.26)):
        span = (t >= k * seconds / 4) & (t < (k + 1) * seconds / 4)
        phase = 2 * np.pi * f0 * t
        note = sum(np.sin(h * phase + h) / h for h in range(1, 9) if h * f0 < rate / 2.3)
        out[span] += note[span]
    out = 0.25 * out + 0.002 * rng.standard_normal(len(t))
    return out / np.max(np.abs(out)) * 0.7


def write_wav(path, data, rate):
    pcm = np.round(data * 32767).astype("<i2")
    channels = 1 if pcm.ndim == 1 else pcm.shape[1]
    body = pcm.tobytes()
    head = b"RIFF" + (36 + len(body)).to_bytes(4, "little") + b"WAVEfmt " + (16).to_bytes(4, "little")
    head += (1).to_bytes(2, "little") + channels.to_bytes(2, "little") + rate.to_bytes(4, "little")
    head += (rate * channels * 2).to_bytes(4, "little") + (channels * 2).to_bytes(2, "little")
    head += (16).to_bytes(2, "little") + b"data" + len(body).to_bytes(4, "little")
    path.write_bytes(head + body)


def ours(path):
    run = subprocess.run([DUMP, path], capture_output=True)
    said = json.loads(run.stderr.decode().strip().splitlines()[-1])
    return np.frombuffer(run.stdout, "<f4").astype(float), said


def ffmpeg_decodes(path, channels, codec):
    # ffmpeg's own Opus decoder resamples speech frames by another filter (2 samples off); libopus is
    # the reference decoder of RFC 6716.
    decoder = ["-c:a", "libopus"] if codec == "Opus" else []
    run = subprocess.run(
        ["ffmpeg", "-v", "error", *decoder, "-i", path, "-map", "0:a:0", "-f", "f32le", "-c:a", "pcm_f32le", "-"],
        capture_output=True,
    )
    return np.frombuffer(run.stdout, "<f4").astype(float).reshape(-1, channels).mean(axis=1)


def lag_of(a, b, most=6000):
    """By how many samples `a` is later than `b`."""
    n = min(len(a), len(b))
    size = 1 << int(np.ceil(np.log2(2 * n)))
    cross = np.fft.irfft(np.fft.rfft(a[:n], size) * np.conj(np.fft.rfft(b[:n], size)), size)
    lags = np.concatenate([np.arange(0, most), np.arange(-most, 0)])
    return int(lags[np.argmax(cross[lags])])


# name, file, threshold in dB, input (rate, channels), tool arguments (or a Python function)
FF = "ffmpeg"
SOX = "sox"
VARIANTS = [
    ("WAV 16-bit", "s16.wav", EXACT, (44100, 1), FF, ["-c:a", "pcm_s16le"]),
    ("WAV 8-bit", "u8.wav", EXACT, (44100, 1), FF, ["-c:a", "pcm_u8"]),
    ("WAV 24-bit stereo", "s24.wav", EXACT, (48000, 2), FF, ["-c:a", "pcm_s24le"]),
    ("WAV 32-bit", "s32.wav", EXACT, (48000, 1), FF, ["-c:a", "pcm_s32le"]),
    ("WAV float", "f32.wav", EXACT, (48000, 1), FF, ["-c:a", "pcm_f32le"]),
    ("WAV double", "f64.wav", EXACT, (44100, 1), FF, ["-c:a", "pcm_f64le"]),
    ("WAV mu-law 8 kHz", "mulaw.wav", EXACT, (8000, 1), FF, ["-c:a", "pcm_mulaw"]),
    ("WAV A-law 8 kHz", "alaw.wav", EXACT, (8000, 1), FF, ["-c:a", "pcm_alaw"]),
    ("WAV IMA ADPCM", "ima.wav", EXACT, (22050, 1), FF, ["-c:a", "adpcm_ima_wav"]),
    ("WAV Microsoft ADPCM", "ms.wav", EXACT, (22050, 2), FF, ["-c:a", "adpcm_ms"]),
    ("WAV extensible 6 channels", "six.wav", EXACT, (48000, 6), FF, ["-c:a", "pcm_s24le"]),
    ("WAV 20 bits in 24, sox", "s20.wav", EXACT, (48000, 1), SOX, ["-b", "24"]),
    ("WAV from a pipe", "pipe.wav", EXACT, (44100, 1), "pipe", ["-c:a", "pcm_s16le", "-f", "wav"]),
    ("RF64", "rf64.wav", EXACT, (44100, 2), FF, ["-c:a", "pcm_s16le", "-rf64", "always"]),
    ("WAV 96 kHz", "s96.wav", EXACT, (96000, 1), FF, ["-c:a", "pcm_s24le"]),
    ("AIFF", "a.aiff", EXACT, (44100, 2), FF, ["-c:a", "pcm_s16be"]),
    ("AIFF-C float", "f.aifc", EXACT, (44100, 1), FF, ["-f", "aiff", "-c:a", "pcm_f32be"]),
    ("AIFF-C sowt", "s.aifc", EXACT, (44100, 1), FF, ["-f", "aiff", "-c:a", "pcm_s16le"]),
    ("CAF PCM", "p.caf", EXACT, (44100, 2), FF, ["-c:a", "pcm_s16be"]),
    ("CAF ALAC", "al.caf", EXACT, (44100, 1), FF, ["-c:a", "alac"]),
    # The header of a block keeps 9 bits of the predictor; ffmpeg remembers the other 7, we do not.
    ("CAF IMA4", "ima.caf", 40, (44100, 1), FF, ["-c:a", "adpcm_ima_qt"]),
    ("CAF float", "f.caf", EXACT, (44100, 1), FF, ["-c:a", "pcm_f32le"]),
    ("AIFF-C mu-law", "mu.aifc", EXACT, (8000, 1), FF, ["-f", "aiff", "-c:a", "pcm_mulaw"]),
    ("FLAC", "a.flac", EXACT, (44100, 2), FF, ["-c:a", "flac"]),
    ("FLAC in Ogg", "flac.ogg", EXACT, (44100, 1), FF, ["-c:a", "flac"]),
    ("ALAC", "alac.m4a", EXACT, (48000, 2), FF, ["-c:a", "alac"]),
    ("MP3 128k", "a.mp3", 60, (44100, 2), FF, ["-c:a", "libmp3lame", "-b:a", "128k"]),
    ("MP3 VBR mono", "v.mp3", 60, (44100, 1), FF, ["-c:a", "libmp3lame", "-q:a", "4"]),
    ("MP3 without Xing header", "n.mp3", 60, (44100, 1), FF, ["-c:a", "libmp3lame", "-write_xing", "0"]),
    ("MP3 22.05 kHz", "low.mp3", 60, (22050, 1), FF, ["-c:a", "libmp3lame", "-b:a", "32k"]),
    ("MP2", "a.mp2", 60, (44100, 2), FF, ["-c:a", "mp2", "-b:a", "192k"]),
    ("M4A AAC 44.1", "a.m4a", 60, (44100, 1), FF, ["-c:a", "aac", "-b:a", "96k"]),
    ("M4A AAC 48 stereo faststart", "b.m4a", 60, (48000, 2), FF,
     ["-c:a", "aac", "-b:a", "128k", "-movflags", "+faststart"]),
    ("M4A AAC fragmented", "frag.m4a", 60, (48000, 1), FF,
     ["-c:a", "aac", "-movflags", "+frag_keyframe+empty_moov", "-f", "mp4"]),
    ("MP4 with video", "v.mp4", 60, (44100, 2), "video", ["-c:a", "aac", "-b:a", "128k"]),
    ("MOV with video, PCM", "v.mov", EXACT, (48000, 1), "video", ["-c:a", "pcm_s16le"]),
    ("MOV AAC", "a.mov", 60, (44100, 1), FF, ["-c:a", "aac"]),
    ("MOV 24-bit", "p.mov", EXACT, (48000, 2), FF, ["-c:a", "pcm_s24le"]),
    ("3GP AAC", "a.3gp", 60, (16000, 1), FF, ["-c:a", "aac", "-b:a", "48k"]),
    ("MP4 cut by an edit list", "edit.m4a", 60, (44100, 1), "cut", []),
    ("AAC in ADTS", "a.aac", 60, (44100, 1), FF, ["-c:a", "aac", "-b:a", "96k", "-f", "adts"]),
    ("Ogg Vorbis", "a.ogg", 60, (44100, 2), FF, ["-c:a", "libvorbis", "-q:a", "4"]),
    ("Ogg Vorbis 22.05 kHz", "low.ogg", 60, (22050, 1), FF, ["-c:a", "libvorbis"]),
    ("Ogg Opus 64k", "a.opus", 60, (48000, 1), FF, ["-c:a", "libopus", "-b:a", "64k"]),
    ("Ogg Opus 16k speech", "s.opus", 50, (48000, 1), FF,
     ["-c:a", "libopus", "-b:a", "16k", "-application", "voip"]),
    ("Ogg Opus stereo", "st.opus", 60, (48000, 2), FF, ["-c:a", "libopus", "-b:a", "96k"]),
    ("Ogg Opus 32k, 40 s", "long.opus", 60, (48000, 1), "long", ["-c:a", "libopus", "-b:a", "32k"]),
    ("WebM Opus", "a.webm", 60, (48000, 1), FF, ["-c:a", "libopus", "-b:a", "64k"]),
    ("WebM Opus with video", "v.webm", 60, (48000, 2), "video", ["-c:a", "libopus", "-c:v", "libvpx"]),
    ("WebM Vorbis", "vorbis.webm", 60, (44100, 1), FF, ["-c:a", "libvorbis"]),
    ("MKV AAC", "a.mkv", 60, (48000, 1), FF, ["-c:a", "aac"]),
    ("MKV FLAC", "flac.mkv", EXACT, (48000, 1), FF, ["-c:a", "flac"]),
    ("MKV PCM", "pcm.mkv", EXACT, (44100, 1), FF, ["-c:a", "pcm_s16le"]),
    ("MP4 Opus", "opus.mp4", 60, (48000, 1), FF, ["-c:a", "libopus", "-b:a", "64k"]),
    ("MP4 MP3", "mp3.mp4", 60, (44100, 1), FF, ["-c:a", "libmp3lame"]),
    ("WebM from a live recorder", "live.webm", 60, (48000, 1), "pipe", ["-c:a", "libopus", "-f", "webm"]),
    ("Ogg from a live recorder", "live.ogg", 60, (48000, 1), "pipe", ["-c:a", "libopus", "-f", "ogg"]),
    ("MP3 from a live recorder", "live.mp3", 60, (44100, 1), "pipe", ["-c:a", "libmp3lame", "-f", "mp3"]),
    ("MP4 FLAC", "flac.mp4", EXACT, (44100, 1), FF, ["-c:a", "flac", "-strict", "-2"]),
]


def make(source, path, tool, arguments):
    quiet = ["ffmpeg", "-v", "error", "-y"]
    picture = ["-f", "lavfi", "-i", "testsrc=size=64x64:rate=10:duration=3"]
    if tool == SOX:
        command = ["sox", "-V1", source, *arguments, path]
    elif tool == "pipe":
        command = [*quiet, "-i", source, *arguments, "-"]
        path.write_bytes(subprocess.run(command, capture_output=True, check=True).stdout)
        return
    elif tool == "video":
        command = [*quiet, *picture, "-i", source, "-shortest", *arguments, path]
    elif tool == "long":
        command = [*quiet, "-stream_loop", "20", "-i", source, "-t", "40", *arguments, path]
    elif tool == "cut":
        whole = path.with_suffix(".whole.m4a")
        subprocess.run([*quiet, "-i", source, "-c:a", "aac", whole], check=True)
        command = [*quiet, "-ss", "0.5", "-i", whole, "-c", "copy", path]
    else:
        command = [*quiet, "-i", source, *arguments, path]
    subprocess.run(command, check=True, capture_output=True)


def main():
    verbose = "-v" in sys.argv
    subprocess.run(["cargo", "build", "--quiet", "--example", "dump_samples"], cwd=ROOT, check=True)
    failures, worst_length = [], 0
    with tempfile.TemporaryDirectory() as folder:
        folder = pathlib.Path(folder)
        for name, file, threshold, (rate, channels), tool, arguments in VARIANTS:
            source, path = folder / "source.wav", folder / file
            mono = signal(rate)
            gains = np.linspace(1.0, 0.6, channels)
            write_wav(source, mono if channels == 1 else mono[:, None] * gains, rate)
            try:
                make(source, path, tool, arguments)
            except subprocess.CalledProcessError as error:
                failures.append(f"{name}: cannot be made: {error.stderr}")
                continue
            got, said = ours(path)
            if "error" in said:
                failures.append(f"{name}: {said['error']}")
                print(f"  {name:28} {said['error']}")
                continue
            want = ffmpeg_decodes(path, said["channels"], said["codec"])
            lag, n = lag_of(got, want), min(len(got), len(want))
            noise = np.sum((got[:n] - want[:n]) ** 2)
            snr = 10 * np.log10(np.sum(want[:n] ** 2) / noise) if noise > 0 else 200.0
            longer = len(got) - len(want)
            worst_length = max(worst_length, abs(longer))
            remarks = [remark["code"] for remark in said["remarks"]]
            bad = lag != 0 or snr < threshold or remarks or (threshold >= EXACT and longer != 0)
            if bad:
                failures.append(f"{name}: lag {lag}, {snr:.1f} dB (want {threshold}), length {longer:+}, {remarks}")
            if verbose or bad:
                print(f"  {name:28} lag {lag:+5d}  {snr:6.1f} dB  length {longer:+6d}  {said['codec']} {remarks}")
    # HE-AAC: only the core is decoded, at half the rate; its time must still be ffmpeg's.
    he = ROOT / "audio-fixtures" / "broken" / "he-aac.m4a"
    got, said = ours(he)
    want = ffmpeg_decodes(he, 2, "AAC")  # mono HE-AAC comes out of ffmpeg as two channels
    lag = lag_of(resample_poly(got, 2, 1), want)
    if verbose:
        print(f"  {'HE-AAC (core)':28} lag {lag:+5d}  {said['rate']} Hz")
    if lag != 0:
        failures.append(f"HE-AAC: lag {lag}")
    for failure in failures:
        print("FAILED", failure)
    print(
        f"decode against ffmpeg: {len(VARIANTS) + 1 - len(failures)} of {len(VARIANTS) + 1} variants with lag 0 "
        f"and the codec's precision; lengths differ by at most {worst_length} samples"
    )
    return 1 if failures else 0


if __name__ == "__main__":
    sys.exit(main())
