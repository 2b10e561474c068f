#!/usr/bin/env bash
# Brings everything that the outside checks need into target/outside (nothing of it is committed):
#   target/outside/venv                 Python with the reference libraries
#   target/outside/npm/node_modules     real single-note recordings, a browser's remote control, an accessibility checker
# and, from Debian, what is missing of ffmpeg, sox, Python, npm, poppler's PDF tools, the Chromium browser, the sound
# library and the FluidR3 General MIDI sound font (its solo strings are other players, and the only viola).
# Runs again only where something is missing or a list has changed.
set -euo pipefail
cd "$(dirname "$0")/../.."
here=tests/outside
out=target/outside
mkdir -p "$out"

need=()
command -v ffmpeg >/dev/null || need+=(ffmpeg)
command -v sox >/dev/null || need+=(sox)
command -v python3 >/dev/null || need+=(python3)
python3 -c 'import venv, ensurepip' 2>/dev/null || need+=(python3-venv)
command -v npm >/dev/null || need+=(npm)
# The false microphone is a device of the sound library.
compgen -G '/usr/lib/*/libasound.so.2' >/dev/null || need+=(libasound2)
[ -e /usr/share/alsa/alsa.conf ] || need+=(libasound2-data)
command -v pdftotext >/dev/null || need+=(poppler-utils)
command -v chromium >/dev/null || need+=(chromium)
[ -e /usr/share/sounds/sf2/FluidR3_GM.sf2 ] || need+=(fluid-soundfont-gm)
if [ ${#need[@]} -gt 0 ]; then
  echo "outside checks: installing from Debian: ${need[*]}"
  sudo=; [ "$(id -u)" = 0 ] || sudo=sudo
  $sudo apt-get update -qq
  DEBIAN_FRONTEND=noninteractive $sudo apt-get install -y -qq "${need[@]}" >/dev/null
fi

if ! cmp -s "$here/requirements.txt" "$out/requirements.installed"; then
  echo "outside checks: installing Python reference libraries"
  python3 -m venv "$out/venv"
  "$out/venv/bin/pip" install -q --disable-pip-version-check -r "$here/requirements.txt"
  cp "$here/requirements.txt" "$out/requirements.installed"
fi

if ! cmp -s "$here/package.json" "$out/npm/package.json"; then
  echo "outside checks: installing recordings and browser tools"
  mkdir -p "$out/npm"
  cp "$here/package.json" "$out/npm/package.json.new"
  (cd "$out/npm" && cp package.json.new package.json && npm install --silent --no-audit --no-fund)
  rm -f "$out/npm/package.json.new"
fi
