//! Any bytes in the memory part, any inputs: what `system_tests::any_image` says.

#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    let _ = system_tests::any_image::run(bytes);
});
