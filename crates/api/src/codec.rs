//! The codec of requests: counts the messages inside one before it is decoded.
//!
//! An empty message takes two bytes on the wire and some hundred in memory, so that a limit in bytes alone lets a small
//! request grow to a hundred times its size.

use std::marker::PhantomData;

use bytes::Buf as _;
use prost::encoding::{WireType, decode_key, decode_varint};
use prost::{Message, Name};
use prost_reflect::{Kind, MessageDescriptor};
use tonic::Status;
use tonic::codec::{BufferSettings, Codec, DecodeBuf, Decoder};
use tonic_prost::{ProstCodec, ProstDecoder, ProstEncoder};

use crate::descriptors;

/// Most messages in one request, nested ones and map entries counted: some hundred thousand runs.
pub const MESSAGES_MOST: usize = 1 << 18;

/// What the refusal begins with.
pub const TOO_MANY_MESSAGES: &str = "too many messages in one request";

/// As deep as prost decodes.
const DEPTH_MOST: usize = 100;

/// prost's codec, with a limit on what a request may unfold to. Answers are decoded as they are.
#[derive(Debug, Clone)]
pub struct CountingCodec<T, U>(PhantomData<(T, U)>);

impl<T, U> Default for CountingCodec<T, U> {
    fn default() -> Self {
        Self(PhantomData)
    }
}

impl<T, U> Codec for CountingCodec<T, U>
where
    T: Message + Send + 'static,
    U: Message + Default + Name + Send + 'static,
{
    type Encode = T;
    type Decode = U;
    type Encoder = ProstEncoder<T>;
    type Decoder = CountingDecoder<U>;

    fn encoder(&mut self) -> Self::Encoder {
        ProstCodec::<T, U>::raw_encoder(BufferSettings::default())
    }

    fn decoder(&mut self) -> Self::Decoder {
        let counted = U::NAME.ends_with("Request").then(U::full_name);
        CountingDecoder {
            inner: ProstCodec::<T, U>::raw_decoder(BufferSettings::default()),
            kind: counted.and_then(|name| descriptors().get_message_by_name(&name)),
        }
    }
}

/// Decodes a message unless it holds too many.
#[derive(Debug)]
pub struct CountingDecoder<U> {
    inner: ProstDecoder<U>,
    kind: Option<MessageDescriptor>,
}

impl<U: Message + Default> Decoder for CountingDecoder<U> {
    type Item = U;
    type Error = Status;

    fn decode(&mut self, from: &mut DecodeBuf<'_>) -> Result<Option<U>, Status> {
        if let Some(kind) = &self.kind {
            // The whole message lies in one piece: tonic has gathered it.
            if messages_in(kind, from.chunk(), MESSAGES_MOST) > MESSAGES_MOST {
                return Err(Status::resource_exhausted(format!(
                    "{TOO_MANY_MESSAGES}: at most {MESSAGES_MOST}"
                )));
            }
        }
        self.inner.decode(from)
    }

    fn buffer_settings(&self) -> BufferSettings {
        self.inner.buffer_settings()
    }
}

/// Messages inside the message `kind` in `bytes`, itself not counted; the count stops once it is above `most`, and where
/// the bytes are no message, which decoding will say.
pub fn messages_in(kind: &MessageDescriptor, bytes: &[u8], most: usize) -> usize {
    let mut seen = 0;
    // Frames of (kind, bytes): no recursion, whatever the depth.
    let mut open = vec![(kind.clone(), bytes, 0)];
    while let Some((kind, mut rest, depth)) = open.pop() {
        while let Some((tag, field)) = next_field(&mut rest) {
            let Some(Kind::Message(inner)) = kind.get_field(tag).map(|field| field.kind()) else { continue };
            seen += 1;
            if seen > most {
                return seen;
            }
            if depth < DEPTH_MOST && !field.is_empty() {
                open.push((inner, field, depth + 1));
            }
        }
    }
    seen
}

/// The next field of a message: its number and, where it is delimited by its length, its bytes.
fn next_field<'a>(rest: &mut &'a [u8]) -> Option<(u32, &'a [u8])> {
    while !rest.is_empty() {
        let (tag, wire) = decode_key(rest).ok()?;
        let skipped = match wire {
            WireType::Varint => {
                decode_varint(rest).ok()?;
                continue;
            }
            WireType::SixtyFourBit => 8,
            WireType::ThirtyTwoBit => 4,
            WireType::StartGroup | WireType::EndGroup => continue,
            WireType::LengthDelimited => {
                let length = usize::try_from(decode_varint(rest).ok()?).ok()?;
                let (field, after) = rest.split_at_checked(length)?;
                *rest = after;
                return Some((tag, field));
            }
        };
        *rest = rest.get(skipped..)?;
    }
    None
}

#[cfg(test)]
mod tests {
    use prost::Message as _;

    use super::*;
    use crate::v1;

    fn counted(request: &v1::SubmitTrialRequest, most: usize) -> usize {
        let kind = descriptors().get_message_by_name("benchring.v1.SubmitTrialRequest").expect("the request");
        messages_in(&kind, &request.encode_to_vec(), most)
    }

    fn with_runs(runs: usize) -> v1::SubmitTrialRequest {
        let charge = v1::TrialCharge { runs: vec![v1::TrialRun::default(); runs], ..Default::default() };
        let arm = v1::TrialArm { charges: vec![charge], ..Default::default() };
        let trial = v1::Trial { arms: vec![arm], ..Default::default() };
        v1::SubmitTrialRequest { trial: Some(trial), ..Default::default() }
    }

    #[test]
    fn every_nested_message_counts_once() {
        assert_eq!(counted(&with_runs(7), 1000), 3 + 7, "trial, arm, charge and seven runs");
        assert_eq!(counted(&with_runs(2000), 1000), 1001, "the count stops above the limit");
    }

    #[test]
    fn texts_are_no_messages_and_broken_bytes_are_left_to_the_decoder() {
        let mut request = with_runs(0);
        request.request_id = "\n\0\n\0\n\0".repeat(50);
        assert_eq!(counted(&request, 1000), 3);
        let kind = descriptors().get_message_by_name("benchring.v1.SubmitTrialRequest").expect("the request");
        assert_eq!(messages_in(&kind, &[0x0a, 0xff, 0xff, 0xff], 10), 0);
        assert_eq!(messages_in(&kind, &[0xff; 64], 10), 0);
    }
}
