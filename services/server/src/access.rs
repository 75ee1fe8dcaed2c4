//! Which action each rpc is. The door looks here before it lets a call through, and an rpc without a
//! row stops the start.

use benchring_auth::Action;

/// Every rpc and its action, in the order of the descriptor, then those of health and reflection.
pub const ACCESS: &[(&str, Action)] = &[
    ("benchring.v1.ClaimService/CreateClaim", Action::RecordClaim),
    ("benchring.v1.ClaimService/GetClaim", Action::ReadClaims),
    ("benchring.v1.ClaimService/ListClaims", Action::ReadClaims),
    ("benchring.v1.ClaimService/JudgeClaim", Action::JudgeClaim),
    ("benchring.v1.MethodService/ListMethods", Action::ReadMethods),
    ("benchring.v1.MethodService/GetMethod", Action::ReadMethods),
    ("benchring.v1.TrialService/SubmitTrial", Action::SubmitTrial),
    ("benchring.v1.TrialService/SubmitTrials", Action::SubmitTrial),
    ("benchring.v1.TrialService/ConfirmFinding", Action::ConfirmFinding),
    ("benchring.v1.TrialService/CheckTrial", Action::CheckTrial),
    ("benchring.v1.TrialService/GetTrial", Action::ReadTrials),
    ("benchring.v1.TrialService/ListTrials", Action::ReadTrials),
    ("benchring.v1.ModerationService/DecideTrial", Action::DecideTrial),
    ("benchring.v1.ModerationService/GetScreening", Action::ReadScreening),
    ("benchring.v1.PackService/CreatePackModel", Action::RegisterPackModel),
    ("benchring.v1.PackService/GetPackModel", Action::ReadPacks),
    ("benchring.v1.PackService/ListPackModels", Action::ReadPacks),
    ("benchring.v1.PackService/UpdatePackModel", Action::RevisePackModel),
    ("benchring.v1.PackService/ConfirmPackModelFinding", Action::ConfirmPackModelFinding),
    ("benchring.v1.PackService/CreatePackSpecimen", Action::RegisterPackSpecimen),
    ("benchring.v1.PackService/GetPackSpecimen", Action::ReadPacks),
    ("benchring.v1.PackService/UpdatePackSpecimen", Action::RevisePackSpecimen),
    ("benchring.v1.PackService/ListPackSpecimens", Action::ReadPacks),
    ("benchring.v1.PlanService/PlanTrial", Action::PlanTrial),
    ("benchring.v1.PoolService/ComparePacks", Action::AskPool),
    ("benchring.v1.PoolService/AssessMethod", Action::AskPool),
    ("benchring.v1.PoolService/AnalyseTrials", Action::AnalyseTrials),
    ("benchring.v1.PoolService/ExploreModifiers", Action::AskPool),
    ("benchring.v1.PoolService/RankPacks", Action::AskPool),
    ("benchring.v1.ServerService/GetServerInfo", Action::Describe),
    ("benchring.v1.ToolService/CreateToolModel", Action::RegisterToolModel),
    ("benchring.v1.ToolService/GetToolModel", Action::ReadTools),
    ("benchring.v1.ToolService/ListToolModels", Action::ReadTools),
    ("benchring.v1.ToolService/UpdateToolModel", Action::ReviseToolModel),
    ("grpc.health.v1.Health/Check", Action::Probe),
    ("grpc.health.v1.Health/Watch", Action::Probe),
    ("grpc.reflection.v1.ServerReflection/ServerReflectionInfo", Action::Describe),
    ("grpc.reflection.v1alpha.ServerReflection/ServerReflectionInfo", Action::Describe),
];

/// The action of an rpc, by `package.Service/Method`.
pub fn action_of(rpc: &str) -> Option<Action> {
    ACCESS.iter().find(|(row, _)| *row == rpc).map(|(_, action)| *action)
}
