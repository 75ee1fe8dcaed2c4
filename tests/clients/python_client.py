"""Submits, reads back, decides and compares with grpcio, and reads every violation of a refused trial.

usage: python_client.py HOST:PORT PROTO_FOLDER FIXTURE_FOLDER

Needs a server that takes development tokens, filled by curl.sh. Stubs are made in a temporary folder.
"""

import importlib
import json
import pathlib
import sys
import tempfile
import uuid

import grpc
import grpc_tools
from google.protobuf import json_format
from google.rpc import error_details_pb2, status_pb2
from grpc_tools import protoc


def stubs(protos: pathlib.Path):
    """Generates and imports the modules of benchring.v1."""
    out = tempfile.mkdtemp()
    files = [str(path) for path in sorted(protos.glob("benchring/v1/*.proto"))]
    include = [f"-I{protos}", f"-I{pathlib.Path(grpc_tools.__file__).parent / '_proto'}"]
    if protoc.main(["protoc", *include, f"--python_out={out}", f"--grpc_python_out={out}", *files]):
        raise SystemExit("the proto files do not compile")
    sys.path.insert(0, out)
    names = ("trials", "moderation", "pools")
    messages = [importlib.import_module(f"benchring.v1.{name}_pb2") for name in names]
    services = [importlib.import_module(f"benchring.v1.{name}_pb2_grpc") for name in names]
    return messages, services


def main(address: str, protos: str, fixtures: str) -> None:
    (trials, moderation, pools), (trials_grpc, moderation_grpc, pools_grpc) = stubs(pathlib.Path(protos))

    def token(name: str) -> list[tuple[str, str]]:
        return [("authorization", f"Bearer development-{name}")]

    with grpc.insecure_channel(address) as channel:
        service = trials_grpc.TrialServiceStub(channel)
        text = pathlib.Path(fixtures, "screw-drive-time.json").read_text(encoding="utf-8")
        trial = json_format.Parse(text, trials.Trial())

        request = trials.SubmitTrialRequest(trial=trial, request_id=str(uuid.uuid4()))
        kept = service.SubmitTrial(request, metadata=token("tester-t03"), timeout=10)
        again = service.SubmitTrial(request, metadata=token("tester-t03"), timeout=10)
        assert kept == again, "a retry is the first answer again"
        read = service.GetTrial(trials.GetTrialRequest(name=kept.name), metadata=token("tester-t03"), timeout=10)
        assert read == kept and len(read.arms) == 2

        decided = moderation_grpc.ModerationServiceStub(channel).DecideTrial(
            moderation.DecideTrialRequest(
                name=kept.name,
                decision=moderation.DECISION_ACCEPT,
                reason="complete and plausible",
                etag=kept.etag,
            ),
            metadata=token("moderator-m01"),
            timeout=10,
        )
        assert decided.standing == trials.STANDING_ACCEPTED

        answer = pools_grpc.PoolServiceStub(channel).ComparePacks(
            pools.ComparePacksRequest(
                method="methods/screw-drive-time/versions/1", pack_a="packModels/k5", pack_b="packModels/k8"
            ),
            timeout=10,
        )
        effect = answer.strata[0].headline.effect
        assert effect.lower < effect.estimate < effect.upper and effect.unit == "1"
        print(answer.sentence)

        trial.arms[1].charges[0].runs[2].reading.unit = "kg"
        trial.licence = ""
        try:
            service.SubmitTrial(trials.SubmitTrialRequest(trial=trial), metadata=token("tester-t03"), timeout=10)
            raise SystemExit("a broken trial was kept")
        except grpc.RpcError as error:
            assert error.code() == grpc.StatusCode.INVALID_ARGUMENT
            details = dict(error.trailing_metadata())["grpc-status-details-bin"]
            status = status_pb2.Status.FromString(details)
            broken = error_details_pb2.BadRequest()
            assert any(any_.Unpack(broken) for any_ in status.details if any_.Is(broken.DESCRIPTOR))
            fields = {violation.field: violation.description for violation in broken.field_violations}
            assert set(fields) == {"trial.licence", "trial.arms[1].charges[0].runs[2].reading.unit"}, fields
    print("python: fine")


if __name__ == "__main__":
    main(*sys.argv[1:])
