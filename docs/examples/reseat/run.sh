#!/usr/bin/env bash
# Runs asworn on real recordings of ten seatings (docs/developing/real-recordings.md).
#
#   run.sh ASWORN STUDY [SAVED]
#
# ASWORN is the program, STUDY the folder to make the study in; tables and
# findings are also saved in the folder SAVED. The recordings are open data
# (CC BY 4.0) and not part of this repository: they are taken from the folder
# that ASWORN_RESEAT names, else from ../shared/data/reseat beside the
# checkout. Without them there is nothing to run, and the script says so.
set -euo pipefail
asworn=$1 study=$2 saved=${3:-$2/saved}
here=$(cd "$(dirname "$0")" && pwd)
data=${ASWORN_RESEAT:-$here/../../../../shared/data/reseat}
if [[ ! -d $data/unit-b ]]; then
	echo "skipped: no recordings in $data (docs/developing/real-recordings.md tells where they come from)"
	exit 0
fi

mkdir -p "$study/recordings" "$saved"
cp "$here/study.toml" "$here/seatings.csv" "$study"
cp "$data/excitation.wav" "$study"
cp "$data"/unit-b/recording-*.wav "$study/recordings"
chmod -R u+w "$study"
before=$(cd "$study" && sha256sum recordings/*.wav excitation.wav)

# Exit code 3 says that a seating needs the operator: one stands out.
code=0
"$asworn" run "$study" >"$saved/run.txt" 2>"$saved/run-findings.txt" || code=$?
cat "$saved/run-findings.txt" "$saved/run.txt"
if ((code != 0 && code != 3)); then
	echo "asworn run ended with code $code"
	exit 1
fi

after=$(cd "$study" && sha256sum recordings/*.wav excitation.wav)
[[ $before == "$after" ]] || { echo "a recording was modified"; exit 1; }
