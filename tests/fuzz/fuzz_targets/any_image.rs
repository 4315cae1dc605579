//! Any bytes in the memory part, any inputs: what `shaftbook_world::any_image` says.

#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    let _ = shaftbook_world::any_image::run(bytes);
});
