//! The probe that weighs `sequential-storage` with blocks of 1,024 bytes.

#![no_std]
#![no_main]

comparison_thumb::probe!(comparison_stores::sequential::Sequential1024<comparison_thumb::Unknown>);
