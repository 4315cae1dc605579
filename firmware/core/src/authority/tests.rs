//! Published values, and what a reply is bound to.

extern crate std;

use super::*;
use sha1::Sha1;
use sha2::Sha512;

const KEY_64: &[u8; 64] = b"1234567890123456789012345678901234567890123456789012345678901234";

/// RFC 6287 appendix C, suite OCRA-1:HOTP-SHA1-6:QN08, 20-byte key.
#[test]
fn the_one_way_vectors_with_sha_1_of_rfc_6287() {
    let expected =
        [237_653, 243_178, 653_583, 740_991, 608_993, 388_898, 816_933, 224_598, 750_600, 294_470];
    for (n, code) in expected.into_iter().enumerate() {
        let mac = Hmac::<Sha1>::new_from_slice(&KEY_64[..20]).unwrap();
        let question = EightDigits(n as u32 * 11_111_111);
        assert_eq!(ocra(mac, "OCRA-1:HOTP-SHA1-6:QN08", None, question) % 1_000_000, code);
    }
}

/// RFC 6287 appendix C, suite OCRA-1:HOTP-SHA512-8:C-QN08, 64-byte key.
#[test]
fn the_counter_vectors_with_sha_512_of_rfc_6287() {
    let expected = [
        7_016_083, 63_947_962, 70_123_924, 25_341_727, 33_203_315, 34_205_738, 44_343_969,
        51_946_085, 20_403_879, 31_409_299,
    ];
    for (n, code) in expected.into_iter().enumerate() {
        let mac = Hmac::<Sha512>::new_from_slice(KEY_64).unwrap();
        let question = EightDigits(n as u32 * 11_111_111);
        let counter = Some(n as u64);
        assert_eq!(ocra(mac, "OCRA-1:HOTP-SHA512-8:C-QN08", counter, question), code);
    }
}

/// RFC 4226 appendix D: HOTP values for counters 0 to 9.
#[test]
fn the_truncation_gives_the_values_of_rfc_4226() {
    let expected =
        [755_224, 287_082, 359_152, 969_429, 338_314, 254_676, 287_922, 162_583, 399_871, 520_489];
    for (n, code) in expected.into_iter().enumerate() {
        let mut mac = Hmac::<Sha1>::new_from_slice(&KEY_64[..20]).unwrap();
        mac.update(&(n as u64).to_be_bytes());
        assert_eq!(truncate(&mac.finalize().into_bytes()) % 1_000_000, code);
    }
}

fn hmac_sha_256(key: &[u8], data: &[u8]) -> [u8; 32] {
    let mut mac = Hmac::<Sha256>::new_from_slice(key).unwrap();
    mac.update(data);
    mac.finalize().into_bytes().into()
}

/// RFC 4231 §4.2 and §4.3. The first and last four bytes of each were checked against
/// other programs; the rest is from memory, and agrees with what `hmac` gives.
#[test]
fn the_mac_is_hmac_sha_256_of_rfc_4231() {
    for (key, data, mac) in [
        (
            &[0x0B; 20][..],
            &b"Hi There"[..],
            [
                0xB034_4C61_D8DB_3853_u64,
                0x5CA8_AFCE_AF0B_F12B,
                0x881D_C200_C983_3DA7,
                0x26E9_376C_2E32_CFF7,
            ],
        ),
        (
            &b"Jefe"[..],
            &b"what do ya want for nothing?"[..],
            [
                0x5BDC_C146_BF60_754E,
                0x6A04_2426_0895_75C7,
                0x5A00_3F08_9D27_3983,
                0x9DEC_58B9_64EC_3843,
            ],
        ),
    ] {
        let words = mac.map(u64::to_be_bytes);
        assert_eq!(hmac_sha_256(key, data), words.as_flattened());
    }
}

/// RFC 4231 §4.7: a key longer than the hash's block (from memory).
#[test]
fn a_long_key_is_hashed_first_as_in_rfc_4231_case_6() {
    let mac = hmac_sha_256(&[0xAA; 131], b"Test Using Larger Than Block-Size Key - Hash Key First");
    assert_eq!(mac[..4], 0x60E4_3159_u32.to_be_bytes());
    assert_eq!(mac[28..], 0x0EE3_7F54_u32.to_be_bytes());
}

/// The layout that docs/SECURITY.md gives: another engineer's tool can be built from it.
#[test]
fn a_reply_is_ocra_over_suite_purpose_services_and_challenge() {
    let key = Key::new([0x2A; KEY_BYTES]);
    let mut input = [0; 28 + 8 + 128];
    input[..28].copy_from_slice(b"OCRA-1:HOTP-SHA256-8:C-QN08\0");
    // After the suite and its zero: C = 2 << 32 | 7, then 12345678 = BC614E hexadecimal.
    input[28..36].copy_from_slice(&[0, 0, 0, 2, 0, 0, 0, 7]);
    input[36..39].copy_from_slice(&[0xBC, 0x61, 0x4E]);
    let mac = hmac_sha_256(key.bytes(), &input);
    let at = usize::from(mac[31] & 15);
    let word = u32::from_be_bytes(mac[at..at + 4].try_into().unwrap()) & 0x7FFF_FFFF;
    let right = reply(&key, Purpose::Renewal, 7, EightDigits(12_345_678));
    assert_eq!(right.get(), word % 100_000_000);
}

/// The example of docs/SECURITY.md and three more, computed by a program on Python's `hmac`.
#[test]
fn replies_are_those_of_another_program() {
    let documented = Key::new([
        0x60, 0x6B, 0x66, 0x3F, 0xFC, 0x8A, 0x3D, 0xA2, 0x59, 0x2A, 0x65, 0x0F, 0xAA, 0x24, 0x63,
        0xC7, 0x7B, 0x2B, 0xF7, 0x7D, 0x7B, 0x91, 0xE2, 0x3A, 0x30, 0x35, 0xB7, 0xEE, 0x0C, 0x51,
        0x3D, 0x74,
    ]);
    let other = Key::new([0x2A; KEY_BYTES]);
    for (key, purpose, services, challenge, right) in [
        (&documented, Purpose::Service, 3, 12_345_678, 28_852_404),
        (&documented, Purpose::Renewal, 3, 12_345_678, 37_979_393),
        (&documented, Purpose::Refit, 3, 12_345_678, 9_209_042),
        (&other, Purpose::Service, 0, 0, 54_486_516),
        (&other, Purpose::Renewal, 7, 12_345_678, 80_337_073),
        (&other, Purpose::Refit, u16::MAX, 99_999_999, 204_097),
    ] {
        let found = reply(key, purpose, services, EightDigits(challenge)).get();
        assert_eq!(found, right, "{purpose:?} {services} {challenge}");
    }
}

#[test]
fn a_reply_is_good_for_one_purpose_and_one_service_count() {
    let key = Key::new([9; KEY_BYTES]);
    let mut seen = std::collections::BTreeSet::new();
    for purpose in [Purpose::Service, Purpose::Renewal, Purpose::Refit] {
        for services in [0, 1, 2, 3, 255, 256, u16::MAX] {
            seen.insert(reply(&key, purpose, services, EightDigits(31_415_926)).get());
        }
    }
    assert_eq!(seen.len(), 21);
}

#[test]
fn a_challenge_depends_on_all_that_it_is_bound_to() {
    let basis = ChallengeBasis {
        id: BoardId(1),
        purpose: Purpose::Renewal,
        components: 1,
        services: 1,
        tries: 1,
        powered_ms: 1,
        stitches: 1,
    };
    let others = [
        basis,
        ChallengeBasis { id: BoardId(2), ..basis },
        ChallengeBasis { purpose: Purpose::Service, ..basis },
        ChallengeBasis { components: 2, ..basis },
        ChallengeBasis { services: 2, ..basis },
        ChallengeBasis { tries: 2, ..basis },
        ChallengeBasis { powered_ms: 2, ..basis },
        ChallengeBasis { stitches: 2, ..basis },
    ];
    let challenges = others.map(|basis| basis.challenge().get());
    assert_eq!(std::collections::BTreeSet::from(challenges).len(), 8);
}

#[test]
fn replies_are_the_same_only_digit_for_digit() {
    let same = |a, b| EightDigits(a).same_in_constant_time(EightDigits(b));
    assert!(same(0, 0) && same(99_999_999, 99_999_999));
    assert!(!same(0, 1) && !same(12_345_678, 12_345_679) && !same(0, 1 << 26));
}

#[test]
fn a_key_is_not_shown() {
    assert_eq!(std::format!("{:?}", Key::new([0x41; KEY_BYTES])), "Key(not shown)");
}
