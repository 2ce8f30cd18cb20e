//! What children that were waited for have cost.

/// Their CPU seconds, from what the kernel adds up (proc(5), cutime and cstime in ticks of 1/100 s).
pub fn children() -> std::io::Result<f64> {
    let stat = std::fs::read_to_string("/proc/self/stat")?;
    let fields: Vec<&str> = stat.rsplit(')').next().unwrap_or_default().split_whitespace().collect();
    let ticks = |k: usize| fields.get(k).and_then(|v| v.parse::<f64>().ok()).unwrap_or(0.0);
    Ok((ticks(13) + ticks(14)) / 100.0)
}
