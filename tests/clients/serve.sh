# Sourced by the client scripts: where the server is, and how calls are made.
set -euo pipefail
address=${BENCHRING_ADDRESS:-127.0.0.1:7070}
fixtures=$(cd "$(dirname "${BASH_SOURCE[0]}")/../fixtures" && pwd)
