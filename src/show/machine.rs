//! How much memory this process may really use.

use std::fs;
use std::path::{Path, PathBuf};
use std::sync::OnceLock;

/// Taken where the system does not say how much memory it has.
const UNKNOWN_MACHINE_BYTES: u64 = 8 << 30;

/// Where the system tells of itself and of the groups of processes that it confines.
const PROC: &str = "/proc";
const GROUPS: &str = "/sys/fs/cgroup";

/// Half of what this process may use: of the machine's memory, of what the groups of processes have that it is
/// confined to, and of what its limits on address space and data (`ulimit -v`, `-d`) leave, whichever is least.
///
/// The other half is for what stands beside the pictures and for other programs.
pub fn default_budget_bytes() -> u64 {
    static BUDGET: OnceLock<u64> = OnceLock::new();
    *BUDGET.get_or_init(|| usable_bytes(Path::new(PROC), Path::new(GROUPS)).unwrap_or(UNKNOWN_MACHINE_BYTES) / 2)
}

fn usable_bytes(proc_dir: &Path, groups: &Path) -> Option<u64> {
    let read = |name: &str| fs::read_to_string(proc_dir.join(name)).ok();
    let machine = read("meminfo").and_then(|text| kilobytes(&text, "MemTotal:"));
    let of_groups = read("self/cgroup").map(|text| group_limits(&text, groups)).unwrap_or_default();
    let in_use = read("self/status").and_then(|text| kilobytes(&text, "VmSize:")).unwrap_or(0);
    let limits = read("self/limits").unwrap_or_default();
    let of_process = ["Max address space", "Max data size"].iter().filter_map(|name| soft_limit(&limits, name));
    machine.into_iter().chain(of_groups).chain(of_process.map(|limit| limit.saturating_sub(in_use))).min()
}

/// A line such as `MemTotal:       16316412 kB`, in bytes.
fn kilobytes(text: &str, name: &str) -> Option<u64> {
    let line = text.lines().find_map(|line| line.strip_prefix(name))?;
    line.trim().strip_suffix("kB")?.trim().parse::<u64>().ok()?.checked_mul(1024)
}

/// The soft limit of a line of `/proc/self/limits`; `None` where there is none.
fn soft_limit(text: &str, name: &str) -> Option<u64> {
    text.lines().find_map(|line| line.strip_prefix(name))?.split_whitespace().next()?.parse().ok()
}

/// The limits of every group that holds this process, of both kinds of hierarchy.
fn group_limits(own: &str, groups: &Path) -> Vec<u64> {
    let mut limits = Vec::new();
    for line in own.lines() {
        // `0::/path`, or `5:cpu,memory:/path`.
        let mut parts = line.splitn(3, ':');
        let (_, controllers, Some(path)) = (parts.next(), parts.next().unwrap_or_default(), parts.next()) else {
            continue;
        };
        let (root, names): (PathBuf, &[&str]) = if controllers.is_empty() {
            (groups.to_path_buf(), &["memory.max", "memory.high"])
        } else if controllers.split(',').any(|one| one == "memory") {
            (groups.join("memory"), &["memory.limit_in_bytes"])
        } else {
            continue;
        };
        // In a container the path may lead out of what can be seen; the root is always there.
        let folder = root.join(path.trim_start_matches('/'));
        for level in folder.ancestors().take_while(|level| level.starts_with(&root)) {
            let read = |name: &&str| fs::read_to_string(level.join(name)).ok()?.trim().parse::<u64>().ok();
            limits.extend(names.iter().filter_map(read));
        }
    }
    limits
}

#[cfg(test)]
mod tests {
    use super::*;

    fn put(root: &Path, name: &str, text: &str) {
        let path = root.join(name);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(path, text).unwrap();
    }

    /// The files as Linux writes them (proc(5), cgroups(7)), from memory.
    #[test]
    fn the_least_of_machine_groups_and_limits_counts() {
        let root = tempfile::tempdir().unwrap();
        let (proc_dir, groups) = (root.path().join("proc"), root.path().join("groups"));
        let usable = || usable_bytes(&proc_dir, &groups);
        assert_eq!(usable(), None);
        put(&proc_dir, "meminfo", "MemTotal:       16316412 kB\nMemFree: 1 kB\n");
        assert_eq!(usable(), Some(16_316_412 * 1024));

        put(&proc_dir, "self/cgroup", "0::/job/step\n");
        put(&groups, "job/step/memory.max", "max\n");
        put(&groups, "job/memory.max", "2147483648\n");
        assert_eq!(usable(), Some(2 << 30), "a group above counts too");
        put(&proc_dir, "self/cgroup", "5:cpu,memory:/old\n4:pids:/old\n");
        put(&groups, "memory/old/memory.limit_in_bytes", "1073741824\n");
        assert_eq!(usable(), Some(1 << 30));

        let limits = "Limit                     Soft Limit           Hard Limit           Units     \n\
                      Max data size             unlimited            unlimited            bytes     \n\
                      Max address space         805306368            unlimited            bytes     \n";
        put(&proc_dir, "self/limits", limits);
        put(&proc_dir, "self/status", "Name:\tx\nVmSize:\t  262144 kB\n");
        assert_eq!(usable(), Some((768 - 256) << 20), "what is in use is taken off");
    }

    #[cfg(target_os = "linux")]
    #[test]
    fn this_machine_tells() {
        assert!(usable_bytes(Path::new(PROC), Path::new(GROUPS)).is_some());
    }
}
