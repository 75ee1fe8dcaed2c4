//! Page tokens: where a list goes on, sealed to the very question. They grant nothing.

use std::path::Path;

use anyhow::Context as _;
use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use benchring_domain::violation::Violations;
use hmac::{Hmac, Mac};
use prost::Message;
use sha2::Sha256;

const SEAL: usize = 16;
/// Longest token read; ours are far shorter.
const LONGEST: usize = 512;

/// The key that seals page tokens.
#[derive(Clone)]
pub struct PageKey([u8; 32]);

impl std::fmt::Debug for PageKey {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("PageKey(..)")
    }
}

impl PageKey {
    /// A key of these bytes.
    pub fn new(bytes: [u8; 32]) -> Self {
        Self(bytes)
    }

    /// The key in the file `page-key` of `folder`, made there when it is missing, readable by its owner
    /// alone. Servers that stand in for each other share the file.
    ///
    /// # Errors
    /// When the file can be neither read nor made, or holds something else.
    pub fn in_folder(folder: &Path) -> anyhow::Result<Self> {
        let path = folder.join("page-key");
        match std::fs::read_to_string(&path) {
            Ok(text) => Self::read(text.trim())
                .with_context(|| format!("{} is no key: remove it and a new one is made", path.display())),
            Err(missing) if missing.kind() == std::io::ErrorKind::NotFound => Self::make(folder, &path),
            Err(error) => Err(error).with_context(|| format!("cannot read {}", path.display())),
        }
    }

    fn read(text: &str) -> anyhow::Result<Self> {
        let bytes = URL_SAFE_NO_PAD.decode(text)?;
        Ok(Self(bytes.try_into().map_err(|_| anyhow::anyhow!("not 32 bytes"))?))
    }

    fn make(folder: &Path, path: &Path) -> anyhow::Result<Self> {
        use std::io::Write as _;
        use std::os::unix::fs::OpenOptionsExt as _;
        std::fs::create_dir_all(folder).with_context(|| format!("cannot make {}", folder.display()))?;
        // Two random UUIDs hold 244 random bits.
        let mut bytes = [0; 32];
        bytes[..16].copy_from_slice(uuid::Uuid::new_v4().as_bytes());
        bytes[16..].copy_from_slice(uuid::Uuid::new_v4().as_bytes());
        let mut file = std::fs::OpenOptions::new()
            .write(true)
            .create_new(true)
            .mode(0o600)
            .open(path)
            .with_context(|| format!("cannot make {}", path.display()))?;
        writeln!(file, "{}", URL_SAFE_NO_PAD.encode(bytes))?;
        file.sync_all()?;
        Ok(Self(bytes))
    }

    /// A token for `place` in the answer to `question`: the request of `rpc` without page size and token.
    pub fn seal(&self, rpc: &str, question: &impl Message, place: &str) -> String {
        let mut bytes = self.mac(rpc, question, place).to_vec();
        bytes.extend_from_slice(place.as_bytes());
        URL_SAFE_NO_PAD.encode(bytes)
    }

    /// The place out of a token; `None` for an empty one.
    ///
    /// # Errors
    /// A token that was not made for this question.
    pub fn open(
        &self,
        rpc: &str,
        question: &impl Message,
        token: &str,
    ) -> Result<Option<String>, Violations> {
        if token.is_empty() {
            return Ok(None);
        }
        let wrong = || {
            Violations::one(
                "page_token",
                "PAGE_TOKEN_FOREIGN",
                "the token belongs to another list: keep all arguments but page_size as they were, or begin without a token",
            )
        };
        let bytes = Some(token)
            .filter(|t| t.len() <= LONGEST)
            .and_then(|t| URL_SAFE_NO_PAD.decode(t).ok())
            .filter(|b| b.len() > SEAL)
            .ok_or_else(wrong)?;
        let (seal, place) = bytes.split_at(SEAL);
        let place = std::str::from_utf8(place).map_err(|_| wrong())?;
        // Truncated seals are compared whole; how long that takes tells nothing a caller could use.
        if self.mac(rpc, question, place) == seal { Ok(Some(place.to_owned())) } else { Err(wrong()) }
    }

    fn mac(&self, rpc: &str, question: &impl Message, place: &str) -> [u8; SEAL] {
        // A key of any length is taken, so this cannot fail.
        let Ok(mut mac) = <Hmac<Sha256> as Mac>::new_from_slice(&self.0) else { return [0; SEAL] };
        for part in [rpc.as_bytes(), &question.encode_to_vec(), place.as_bytes()] {
            mac.update(&(part.len() as u64).to_be_bytes());
            mac.update(part);
        }
        let whole = mac.finalize().into_bytes();
        let mut seal = [0; SEAL];
        seal.copy_from_slice(&whole[..SEAL]);
        seal
    }
}

#[cfg(test)]
mod tests {
    use benchring_api::v1::ListTrialsRequest;

    use super::*;

    fn question(filter: &str) -> ListTrialsRequest {
        ListTrialsRequest { filter: filter.into(), ..ListTrialsRequest::default() }
    }

    #[test]
    fn a_token_opens_for_its_own_question_alone() {
        let key = PageKey::new([7; 32]);
        let token = key.seal("ListTrials", &question("a"), "123/x");
        assert_eq!(key.open("ListTrials", &question("a"), &token).unwrap().as_deref(), Some("123/x"));
        assert!(key.open("ListTrials", &question("b"), &token).is_err());
        assert!(key.open("ListPackModels", &question("a"), &token).is_err());
        assert!(PageKey::new([8; 32]).open("ListTrials", &question("a"), &token).is_err());
    }

    #[test]
    fn a_flipped_or_foreign_token_is_refused() {
        let key = PageKey::new([7; 32]);
        let token = key.seal("ListTrials", &question(""), "123/x");
        for at in 0..token.len() {
            let mut flipped = token.clone().into_bytes();
            flipped[at] = if flipped[at] == b'A' { b'B' } else { b'A' };
            let flipped = String::from_utf8(flipped).unwrap();
            assert!(key.open("ListTrials", &question(""), &flipped).is_err(), "{at}");
        }
        for foreign in ["x", "!!", "AAAAAAAAAAAAAAAAAAAAAAAA", &"A".repeat(600)] {
            assert!(key.open("ListTrials", &question(""), foreign).is_err(), "{foreign}");
        }
    }

    #[test]
    fn a_key_is_made_once_and_kept_private() {
        use std::os::unix::fs::PermissionsExt as _;
        let folder = tempfile::tempdir().unwrap();
        let first = PageKey::in_folder(folder.path()).unwrap();
        assert_eq!(PageKey::in_folder(folder.path()).unwrap().0, first.0);
        let mode = std::fs::metadata(folder.path().join("page-key")).unwrap().permissions().mode();
        assert_eq!(mode & 0o777, 0o600);
    }
}
