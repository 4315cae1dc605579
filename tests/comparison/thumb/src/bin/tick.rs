//! The probe that weighs `tickv`.

#![no_std]
#![no_main]

comparison_thumb::probe!(comparison_stores::tick::Tick<comparison_thumb::Unknown>);
