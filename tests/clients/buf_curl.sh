#!/usr/bin/env bash
# Reads, submits and compares with buf curl by reflection over plain HTTP/2, on a server that curl.sh filled.
source "$(dirname "${BASH_SOURCE[0]}")/serve.sh"

call() { # TOKEN SERVICE/METHOD JSON
    buf curl --protocol grpc --http2-prior-knowledge --reflect-protocol grpc-v1 \
        -H "authorization: Bearer development-$1" -d "$3" "http://$address/benchring.v1.$2"
}
buf curl --protocol grpc --http2-prior-knowledge --list-methods "http://$address" | grep 'TrialService/SubmitTrial' >/dev/null

request=$(python3 -c 'import json, sys; print(json.dumps({"trialId": "by-buf", "trial": json.load(open(sys.argv[1]))}))' \
    "$fixtures/screw-drive-time.json")
call tester-t02 TrialService/SubmitTrial "$request" | grep '"standing": "STANDING_PENDING"' >/dev/null
call tester-t02 TrialService/GetTrial '{"name": "trials/by-buf"}' | grep '"tester": "testers/t02"' >/dev/null
call tester-t02 PoolService/ComparePacks \
    '{"method": "methods/screw-drive-time/versions/1", "packA": "packModels/k5", "packB": "packModels/k8"}' \
    | grep '"sentence"'
if refused=$(call tester-t02 TrialService/GetTrial '{"name": "trials/nobody-sent-this"}' 2>&1); then
    echo "an absent trial was found"
    exit 1
fi
grep not_found <<<"$refused" >/dev/null
echo "buf curl: fine"
