//! The probe that weighs `sequential-storage` with blocks of 256 bytes.

#![no_std]
#![no_main]

comparison_thumb::probe!(comparison_stores::sequential::Sequential256<comparison_thumb::Unknown>);
