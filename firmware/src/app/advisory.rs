//! The advisory: thresholds for today's air, computed by the box itself.
//!
//! A step never computes them. When the permit is off and the air has moved, the step makes a [`Job`]; the board takes it
//! with [`App::job`], runs it wherever steps go on meanwhile (a lower priority than theirs), and gives the result back with
//! [`App::found`]. The next step with the permit off takes it over, by the rule of [`landfall_core::watch::thresholds`]. A
//! job that never ends changes nothing: the steps go on, and the planned thresholds hold.

use super::{App, STAGED_STEPS};
use crate::board::Watchdog;
use crate::link::{FromBox, Noted, Refusal, ToBox, Today, Verdict, check_of_stored};
use crate::sensor::{GaugeSensor, Outside};
use crate::store::SETTINGS;
use crate::wire;
use embedded_hal::digital::{InputPin, OutputPin};
use embedded_io::{Read, ReadReady, Write, WriteReady};
use embedded_storage::nor_flash::NorFlash;
use landfall_core::air::Air;
use landfall_core::thresholds::{FanCurve, WatchedBags, WatchedForm, WatchedSite, thresholds, todays_air};
use landfall_core::watch::{State, Thresholds, WatchSettings, in_force};

/// Readings of the outside air that a mean is taken of: 2 s (*assumed*; one alone is off by a few pascals).
const AIR_READINGS: u8 = 100;
/// The air must have moved by this much since the last job, Pa and K (*assumed*: 0.3 % of the density, each).
const AIR_MOVED: (f32, f32) = (300.0, 1.0);
/// 0 °C in K.
const ZERO_DEGC_K: f32 = 273.15;

/// A computation to run beside the steps.
#[derive(Clone, Copy, Debug)]
pub struct Job {
    number: u32,
    form: WatchedForm,
    air: Air,
}

/// What a job gave.
#[derive(Clone, Copy, Debug)]
pub struct Found {
    number: u32,
    thresholds: Result<Thresholds, Verdict>,
}

impl Job {
    /// Computes: the planner's own functions, most of a second on a small processor.
    #[inline(never)]
    pub fn run(&self) -> Found {
        let found = thresholds(&self.form, &self.air);
        Found { number: self.number, thresholds: found.map_err(Verdict::from) }
    }
}

/// Where the work stands.
#[derive(Clone, Copy, PartialEq)]
enum Work {
    Idle,
    Wanted,
    Running,
}

/// A form as it comes: in three messages.
#[derive(Clone, Copy)]
struct Parts {
    site: Option<WatchedSite>,
    bags: Option<WatchedBags>,
    curve: Option<FanCurve>,
}

impl Parts {
    const NONE: Self = Self { site: None, bags: None, curve: None };

    /// All of them, in the order of [`WatchedForm`].
    fn whole(&self) -> Option<(&WatchedSite, &WatchedBags, &FanCurve)> {
        Some((self.site.as_ref()?, self.bags.as_ref()?, self.curve.as_ref()?))
    }
}

/// One of them.
enum Part<'a> {
    Site(&'a WatchedSite),
    Bags(&'a WatchedBags),
    Curve(&'a FanCurve),
}

impl Part<'_> {
    /// Fully checked when it is computed with; here what would make no sense at all.
    #[inline(never)]
    fn is_sound(&self) -> bool {
        match self {
            Self::Site(site) => site.planned_air().is_ok(),
            Self::Bags(bags) => bags.check().is_ok(),
            Self::Curve(curve) => curve.curve().is_ok(),
        }
    }
}

/// What the box keeps for it.
pub(super) struct Advisory {
    staged: Parts,
    has_form: bool,
    mean: (f32, f32),
    count: u8,
    measured: Option<(f32, f32)>,
    stated: Option<(f32, f32)>,
    /// The air of the last job, or one that was not believed.
    tried: Option<(f32, f32)>,
    work: Work,
    number: u32,
    pending: Option<WatchSettings>,
    pub(super) today: Today,
    told: Option<Verdict>,
}

impl Advisory {
    pub(super) const fn new() -> Self {
        Self {
            staged: Parts::NONE,
            has_form: false,
            mean: (0.0, 0.0),
            count: 0,
            measured: None,
            stated: None,
            tried: None,
            work: Work::Idle,
            number: 0,
            pending: None,
            today: Today { verdict: Verdict::NoSettings, air: None, planned: None, computed: None, in_force: None },
            told: None,
        }
    }

    /// A computation is asked for or goes on: steps come on time meanwhile.
    pub(super) fn computing(&self) -> bool {
        self.work != Work::Idle
    }

    /// What goes to flash for settings: with their form if all of it was staged.
    pub(super) fn to_store(&self, settings: &WatchSettings, bytes: &mut [u8]) -> Option<usize> {
        let written = match self.staged.whole() {
            Some(form) => wire::write(&(settings, form), bytes),
            None => wire::write(settings, bytes),
        };
        written.ok()
    }

    pub(super) fn unstage(&mut self) {
        self.staged = Parts::NONE;
    }

    /// Takes a reading of the outside air; the last full mean is what counts.
    fn measure(&mut self, outside: Option<Outside>) {
        let Some(outside) = outside else { return };
        self.count = self.count.saturating_add(1);
        let share = 1.0 / f32::from(self.count);
        self.mean.0 += (outside.pressure_pa - self.mean.0) * share;
        self.mean.1 += (outside.temperature_c + ZERO_DEGC_K - self.mean.1) * share;
        if self.count >= AIR_READINGS {
            self.measured = Some(self.mean);
            (self.mean, self.count) = ((0.0, 0.0), 0);
        }
    }

    /// The air to compute with, if it is not the one of the last job.
    fn new_air(&self) -> Option<(f32, f32)> {
        let (pressure_pa, temperature_k) = self.measured.or(self.stated)?;
        let Some((tried_pa, tried_k)) = self.tried else { return Some((pressure_pa, temperature_k)) };
        let near = (pressure_pa - tried_pa).abs() < AIR_MOVED.0 && (temperature_k - tried_k).abs() < AIR_MOVED.1;
        if near { None } else { Some((pressure_pa, temperature_k)) }
    }
}

impl<S, B, P, I, F, L, W> App<S, B, P, I, F, L, W>
where
    S: GaugeSensor<B>,
    P: OutputPin,
    I: InputPin,
    F: NorFlash,
    L: Read + ReadReady + Write + WriteReady,
    W: Watchdog,
{
    /// The computation that is wanted, once: run it beside the steps and give its result to [`App::found`].
    #[inline(never)]
    pub fn job(&mut self) -> Option<Job> {
        if self.advisory.work != Work::Wanted {
            return None;
        }
        self.advisory.work = Work::Idle;
        let form = self.form()?;
        let (pressure_pa, temperature_k) = self.advisory.tried?;
        let air = todays_air(pressure_pa, temperature_k).ok()?;
        self.advisory.work = Work::Running;
        Some(Job { number: self.advisory.number, form, air })
    }

    /// Takes what a job gave; one that was made before the last change of settings is dropped.
    #[inline(never)]
    pub fn found(&mut self, found: &Found) {
        if found.number != self.advisory.number {
            return;
        }
        self.advisory.work = Work::Idle;
        let Some(planned) = self.settings else { return };
        let today = &mut self.advisory.today;
        today.computed = found.thresholds.ok();
        let next = found.thresholds.and_then(|found| in_force(&planned, &found).map_err(|_| Verdict::OutOfOrder));
        // What is refused puts the planned ones back, which an earlier air may have replaced.
        today.verdict = match next {
            Ok(_) => Verdict::Waiting,
            Err(verdict) => verdict,
        };
        self.advisory.pending = Some(next.unwrap_or(planned));
    }

    /// Once a step: measures the air, asks for a job, and takes over what one has given.
    #[inline(never)]
    pub(super) fn advise(&mut self, outside: Option<Outside>) {
        self.advisory.measure(outside);
        let quiet = match self.status.state {
            Some((State::Check | State::Fill | State::Wait | State::Ended, _)) => {
                !self.status.permit && !self.status.siren
            }
            _ => false,
        };
        if quiet && self.advisory.work == Work::Idle && self.advisory.pending.is_none() && self.advisory.has_form {
            self.want();
        }
        if let (true, Some(next), Some(watch)) = (quiet, self.advisory.pending, self.watch.as_mut())
            && watch.adopt(&next)
        {
            watch.withhold(self.advisory.today.verdict.withholds());
            self.advisory.pending = None;
            self.advisory.today.in_force = Some(Thresholds::of(watch.settings()));
            if self.advisory.today.verdict == Verdict::Waiting {
                self.advisory.today.verdict = Verdict::Today;
            }
            self.advisory.told = None;
        }
        if self.advisory.told != Some(self.advisory.today.verdict) {
            self.advisory.told = Some(self.advisory.today.verdict);
            let today = self.advisory.today;
            self.say(&FromBox::Today(today));
            let (Some(held), false) = (today.in_force, matches!(today.verdict, Verdict::Computing | Verdict::Waiting))
            else {
                return;
            };
            self.note(Noted::Today {
                verdict: today.verdict,
                air: today.air,
                stop_pa: held.stop_pa,
                wait_pa: held.wait_pa,
                high_pa: held.high_pa,
            });
        }
    }

    /// Asks for a job where the air has moved.
    fn want(&mut self) {
        let Some(air) = self.advisory.new_air() else { return };
        self.advisory.tried = Some(air);
        self.advisory.today.air = Some(air);
        self.advisory.today.computed = None;
        if todays_air(air.0, air.1).is_ok() {
            self.advisory.work = Work::Wanted;
            self.advisory.today.verdict = Verdict::Computing;
        } else {
            self.advisory.today.verdict = Verdict::AirNotBelieved;
            self.advisory.pending = self.settings;
        }
    }

    /// The watch begins with the settings in flash: the planned ones hold until a job has been run.
    #[inline(never)]
    pub(super) fn advise_afresh(&mut self) {
        let planned = self.watch.as_ref().map(|watch| Thresholds::of(watch.settings()));
        let has_form = self.form().is_some();
        let advisory = &mut self.advisory;
        advisory.number = advisory.number.wrapping_add(1);
        advisory.has_form = has_form;
        advisory.work = Work::Idle;
        advisory.tried = None;
        advisory.pending = None;
        advisory.told = None;
        let verdict = match planned {
            None => Verdict::NoSettings,
            Some(_) if !has_form => Verdict::NoSite,
            Some(_) => Verdict::NoAir,
        };
        advisory.today = Today { verdict, air: None, planned, computed: None, in_force: planned };
    }

    /// The form behind the settings in flash.
    #[inline(never)]
    pub(super) fn form(&mut self) -> Option<WatchedForm> {
        let mut bytes = [0; SETTINGS];
        let length = self.store.settings(&mut bytes)?;
        let (settings, rest) = postcard::take_from_bytes::<WatchSettings>(bytes.get(4..length)?).ok()?;
        settings.validate().ok()?;
        postcard::from_bytes(rest).ok()
    }

    #[inline(never)]
    pub(super) fn hear_advisory(&mut self, message: &ToBox) {
        let answer = match message {
            ToBox::OfferSite(site) => match self.stage_form(&Part::Site(site)) {
                Ok(()) => FromBox::StagedSite(*site),
                Err(refusal) => FromBox::Refused(refusal),
            },
            ToBox::OfferBags(bags) => match self.stage_form(&Part::Bags(bags)) {
                Ok(()) => FromBox::StagedBags(*bags),
                Err(refusal) => FromBox::Refused(refusal),
            },
            ToBox::OfferCurve(curve) => match self.stage_form(&Part::Curve(curve)) {
                Ok(()) => FromBox::StagedCurve(*curve),
                Err(refusal) => FromBox::Refused(refusal),
            },
            ToBox::Air { pressure_pa, temperature_k } => match self.state_air(*pressure_pa, *temperature_k) {
                Ok(()) => FromBox::Today(self.advisory.today),
                Err(refusal) => FromBox::Refused(refusal),
            },
            _ => FromBox::Today(self.advisory.today),
        };
        self.reply(&answer);
    }

    /// Puts a part of the form beside the staged settings; with all parts there, the checksum is of all of it.
    #[inline(never)]
    fn stage_form(&mut self, part: &Part<'_>) -> Result<(), Refusal> {
        let (settings, check, since) = self.staged.ok_or(Refusal::NotStaged)?;
        if self.steps.wrapping_sub(since) > STAGED_STEPS {
            return Err(Refusal::NotStaged);
        }
        if !part.is_sound() {
            return Err(Refusal::Impossible);
        }
        let staged = &mut self.advisory.staged;
        match *part {
            Part::Site(site) => staged.site = Some(*site),
            Part::Bags(bags) => staged.bags = Some(*bags),
            Part::Curve(curve) => staged.curve = Some(*curve),
        }
        let check = match self.advisory.staged.whole() {
            Some(form) => check_of_stored(&(settings, form)).map_err(|_| Refusal::Impossible)?,
            None => check,
        };
        self.staged = Some((settings, check, since));
        Ok(())
    }

    /// The air that a person states, with the button held.
    fn state_air(&mut self, pressure_pa: f32, temperature_k: f32) -> Result<(), Refusal> {
        todays_air(pressure_pa, temperature_k).map_err(|_| Refusal::Impossible)?;
        if !self.button_held() {
            return Err(Refusal::Button);
        }
        self.button_fresh = false;
        self.advisory.stated = Some((pressure_pa, temperature_k));
        Ok(())
    }
}
