//! Fuzz target: any bytes in the memory part, any inputs. The rules are those of
//! `shaftbook_world::any_image`.

#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    let _ = shaftbook_world::any_image::run(bytes);
});
